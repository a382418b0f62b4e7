package words

import (
	"cmp"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// sentences are the errors that tell a person something, wherever they stand.
var sentences = []string{"sites.ErrNoInventory", "manifest.ErrDigest", "archive.ErrNoFolder", "ledger.ErrOtherSeal", "history.ErrNoRecord"}

// TestEveryTailIsKnown reads the module's own source: an error that callers
// decide on and that some message ends with, behind a sentence, must be one that
// [Plain] takes off.
func TestEveryTailIsKnown(t *testing.T) {
	texts := map[string]string{} // the name of an error → its text
	ends := map[string]string{}  // the name of one that ends a message → where
	trailing := regexp.MustCompile(`[:?] %w$`)
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (d.Name() == "testdata" || d.Name() == ".git") {
			return skip(d, err)
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.ValueSpec:
				for i, v := range n.Values {
					text := cmp.Or(textOf(v, "errors.New"), textOf(v, "fault.New"))
					if text != "" && strings.HasPrefix(n.Names[i].Name, "Err") {
						texts[file.Name.Name+"."+n.Names[i].Name] = text
					}
				}
			case *ast.CallExpr:
				if trailing.MatchString(textOf(n, "fmt.Errorf")) {
					if name := nameOf(n.Args[len(n.Args)-1], file.Name.Name); name != "" {
						ends[name] = path
					}
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for name, path := range ends {
		text, ok := texts[name]
		if !ok {
			continue // not one of ours, or no error that callers decide on
		}
		seen++
		if got := Plain("a whole sentence: " + text); got != "a whole sentence" && !slices.Contains(sentences, name) {
			t.Errorf("%s: %s ends a message, and is left there: %q", path, name, text)
		}
	}
	if seen < 25 {
		t.Errorf("only %d were found", seen)
	}
}

func skip(d fs.DirEntry, err error) error {
	if err != nil {
		return err
	}
	return filepath.SkipDir
}

// textOf is the text that a call of function begins with.
func textOf(e ast.Expr, function string) string {
	call, ok := e.(*ast.CallExpr)
	if !ok || nameOf(call.Fun, "") != function || len(call.Args) == 0 {
		return ""
	}
	lit, ok := call.Args[0].(*ast.BasicLit)
	if !ok {
		return ""
	}
	text, _ := strconv.Unquote(lit.Value)
	return text
}

// nameOf is package.Name for a name of another package, or of its own.
func nameOf(e ast.Expr, own string) string {
	switch e := e.(type) {
	case *ast.Ident:
		return own + "." + e.Name
	case *ast.SelectorExpr:
		if x, ok := e.X.(*ast.Ident); ok {
			return x.Name + "." + e.Sel.Name
		}
	}
	return ""
}
