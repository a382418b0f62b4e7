package fault

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// TestNothingIsSaidTwice reads the module's own source: where a message is a sentence,
// an error that callers compare with is not put behind it, where a person would read
// it; [Say] carries it unseen. Behind a name it stands, and has to be a sentence.
func TestNothingIsSaidTwice(t *testing.T) {
	seen := 0
	trailing := regexp.MustCompile(`^(.*?)([:?]) %w$`)
	err := filepath.WalkDir("../../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (d.Name() == "testdata" || d.Name() == ".git") {
			return skip(d, err)
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.Contains(path, "/ranchdemo/") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) < 2 {
				return true
			}
			m := trailing.FindStringSubmatch(textOf(call, "fmt.Errorf"))
			name := nameOf(call.Args[len(call.Args)-1])
			if m == nil || !strings.HasPrefix(name, "Err") || name == "Err" {
				return true
			}
			seen++
			part := m[1][strings.LastIndex(m[1], ": ")+1:]
			if m[2] == "?" || strings.Contains(strings.TrimSpace(part), " ") && !versionOf.MatchString(part) {
				t.Errorf("%s: %s stands behind a sentence: %q", path, name, m[0])
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 5 {
		t.Errorf("only %d were found", seen)
	}
}

// versionOf is a name of several words.
var versionOf = regexp.MustCompile(`^ ?(version %d of %s|%s v%d)$`)

func skip(d fs.DirEntry, err error) error {
	if err != nil {
		return err
	}
	return filepath.SkipDir
}

// textOf is the text that a call of function begins with.
func textOf(e ast.Expr, function string) string {
	call, ok := e.(*ast.CallExpr)
	if !ok || nameOf(call.Fun) != strings.TrimPrefix(function, "fmt.") || len(call.Args) == 0 {
		return ""
	}
	lit, ok := call.Args[0].(*ast.BasicLit)
	if !ok {
		return ""
	}
	text, _ := strconv.Unquote(lit.Value)
	return text
}

// nameOf is the name of an error, in its own package or in another.
func nameOf(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}
