package bag

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// longestLine is more than a file system's longest path with its digest takes;
// a longer line is no list's.
const longestLine = 64 << 10

// entry is one line of a manifest.
type entry struct {
	digest  string // lower-case hex
	path    string // as a file system has it, slash-separated
	starred bool   // an asterisk stands before it
}

// lines calls f with each line, without its end. Lines end with LF, CR or CRLF
// (section 2.1.3 and 2.2.2 allow each); an empty one is passed over.
func lines(r io.Reader, f func(n int, line string)) error {
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 0, 4096), longestLine)
	s.Split(splitLine)
	n := 0
	for s.Scan() {
		n++
		if line := s.Text(); line != "" {
			f(n, line)
		}
	}
	if errors.Is(s.Err(), bufio.ErrTooLong) {
		return fmt.Errorf("line %d is longer than %d bytes", n+1, longestLine)
	}
	return s.Err()
}

func splitLine(data []byte, atEOF bool) (int, []byte, error) {
	for i, c := range data {
		if c == '\n' {
			return i + 1, data[:i], nil
		}
		if c != '\r' {
			continue
		}
		if i+1 < len(data) {
			if data[i+1] == '\n' {
				return i + 2, data[:i], nil
			}
			return i + 1, data[:i], nil
		}
		if !atEOF { // an LF may follow
			return 0, nil, nil
		}
		return i + 1, data[:i], nil
	}
	if atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}

// parseEntry reads one line of a manifest: a digest in hex of either case, white
// space, and a path (section 2.1.3). An asterisk before the path, which
// checksum programs write for binary files, is not part of it (section 6.1.3).
func parseEntry(line string, size int) (entry, error) {
	digest, rest, ok := cutSpace(line)
	if !ok {
		return entry{}, errors.New("is not a digest, white space and a path")
	}
	digest = strings.ToLower(digest)
	if len(digest) != 2*size || strings.Trim(digest, "0123456789abcdef") != "" {
		return entry{}, fmt.Errorf("does not begin with %d hex digits", 2*size)
	}
	rest, starred := strings.CutPrefix(rest, "*")
	return entry{digest, decodePath(rest), starred}, nil
}

// cutSpace cuts a line at its first run of spaces and tabs.
func cutSpace(line string) (before, after string, ok bool) {
	i := strings.IndexAny(line, " \t")
	if i <= 0 {
		return "", "", false
	}
	after = strings.TrimLeft(line[i:], " \t")
	return line[:i], after, after != ""
}

// decodePath reads a path as it stands in a list. "./" before it changes nothing.
func decodePath(p string) string {
	return strings.TrimPrefix(decoder.Replace(p), "./")
}

// pathFault says why a path is never looked at: it could lead out of the bag
// (sections 2.1.3 and 5.1), or it could be nobody's file.
func pathFault(p string) string {
	switch {
	case p == "":
		return "is empty"
	case strings.HasPrefix(p, "/") || strings.HasPrefix(p, "~"):
		return "does not begin inside the bag"
	case strings.ContainsRune(p, 0):
		return "holds a NUL byte"
	case strings.HasPrefix(p, `\`) || len(p) > 1 && p[1] == ':':
		// Some systems read these as a way out.
		return `begins with a "\" or with a drive's letter`
	}
	for e := range strings.SplitSeq(p, "/") {
		if e == "" || e == "." || e == ".." {
			return fmt.Sprintf("holds the element %q", e)
		}
	}
	// A "\" is a letter like any other in the RFC, and some systems read it as "/".
	for e := range strings.SplitSeq(p, `\`) {
		if e == ".." || strings.HasSuffix(e, "/..") || strings.HasPrefix(e, "../") {
			return `holds "..", where a "\" is read as "/"`
		}
	}
	return ""
}

// tag is one label of a bag-info.txt with its value.
type tag struct{ label, value string }

// parseInfo reads bag-info.txt (section 2.2.2): "Label: value" lines, each
// continued by lines that begin with a space or tab.
func parseInfo(r io.Reader) ([]tag, []string, error) {
	var tags []tag
	var faults []string
	err := lines(r, func(n int, line string) {
		if !utf8.ValidString(line) {
			faults = append(faults, fmt.Sprintf("line %d is not UTF-8", n))
			return
		}
		if line[0] == ' ' || line[0] == '\t' {
			if len(tags) == 0 {
				faults = append(faults, fmt.Sprintf("line %d continues nothing", n))
				return
			}
			tags[len(tags)-1].value += " " + strings.TrimSpace(line)
			return
		}
		label, value, ok := strings.Cut(line, ":")
		if !ok || strings.TrimSpace(label) == "" {
			faults = append(faults, fmt.Sprintf("line %d is not a label, a colon and a value", n))
			return
		}
		if strings.TrimRight(label, " \t") != label || !strings.HasPrefix(value, " ") && !strings.HasPrefix(value, "\t") {
			faults = append(faults, fmt.Sprintf("line %d: the colon does not follow the label at once, or no white space follows the colon", n))
		}
		tags = append(tags, tag{strings.TrimSpace(label), strings.TrimSpace(value)})
	})
	return tags, faults, err
}
