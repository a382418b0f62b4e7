package names

import (
	"strings"
)

// Base is the last element of a slash-separated path.
func Base(path string) string { return path[strings.LastIndexByte(path, '/')+1:] }

// Parent is the path of the folder that a path lies in; "" is the top.
func Parent(path string) string { return path[:max(strings.LastIndexByte(path, '/'), 0)] }

// Stem is a file name without its extension.
func Stem(name string) string {
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		return name[:i]
	}
	return name
}

// Extension is a file name's extension in lower case, without the dot.
func Extension(name string) string {
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		return strings.ToLower(name[i+1:])
	}
	return ""
}
