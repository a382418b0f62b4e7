package manifest

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// schema is the JSON schema published with the OCFL 1.1 specification; see
// testdata/standards/README.md for its source and licence.
func schema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "standards", "ocfl-1.1-inventory-schema.json"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	doc, err := jsonschema.UnmarshalJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	const url = "https://ocfl.io/1.1/spec/inventory_schema.json"
	c := jsonschema.NewCompiler()
	c.AssertFormat() // so that created is held to date-time
	if err := c.AddResource(url, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(url)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(s *jsonschema.Schema, inventory []byte) error {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(inventory))
	if err != nil {
		return err
	}
	return s.Validate(doc)
}

func TestInventoryFitsThePublishedSchema(t *testing.T) {
	s := schema(t)
	inv := sample(t)
	for n := 1; n <= inv.Head(); n++ {
		if err := validate(s, inv.Until(n).Encode()); err != nil {
			t.Errorf("v%d: %v", n, err)
		}
	}
	// The check can fail.
	for _, old := range []string{`"head"`, `"created"`, `"name"`, `2026-07-02`} {
		bad := bytes.Replace(inv.Encode(), []byte(old), []byte(`"x"`), 1)
		if validate(s, bad) == nil {
			t.Errorf("the schema takes an inventory without %s", old)
		}
	}
}

// sample is an inventory with everything in it: three versions, a rename, a
// deletion, names of every kind, content found under a version.
func sample(t testing.TB) *Inventory {
	t.Helper()
	escaped, _ := Logical("2020-06-19/caf\xe9.jpg")
	first := next(1, map[string]string{
		"2019-06-21/plot.jpg": "plot 2019", "2019-06-21/landscape.jpg": "landscape 2019", "2019-06-21/notes.txt": "grass is short",
		"2019-06-21/Plot.JPG": "another plot", "empty": "", "also empty": "",
	})
	first.Message = "first round"
	second := next(2, map[string]string{
		"2019-06-21/plot a.jpg": "plot 2019", "2019-06-21/notes.txt": "grass is short, \"really\"",
		"2020-06-19/plot.jpg": "plot 2020", "2020-06-19/línea\n.jpg": "landscape 2020", escaped: "café", "empty": "",
	})
	entry := second.Record.Paths[escaped]
	entry.Raw = []byte("2020-06-19/caf\xe9.jpg")
	second.Record.Paths[escaped] = entry
	second.Found = map[string]Digest{"v2/content/2020-06-19/plot.jpg": sum("plot 2020"), "v2/content/left": sum("left behind")}
	third := next(3, map[string]string{"2020-06-19/plot.jpg": "plot 2020", "empty": ""})
	third.Message = ""
	third.Record.Decisions = fullRecord().Decisions
	inv := New(testID)
	for _, n := range []Next{first, second, third} {
		draft, err := inv.Add(n)
		if err != nil {
			t.Fatal(err)
		}
		inv = draft.Inventory
	}
	return inv
}

var update = flag.Bool("update", false, "write the golden files anew")

// Every byte of what copies hold is fixed: archives exist for decades, and a
// test that fails here means that their format changed.
func TestGolden(t *testing.T) {
	for name, got := range map[string][]byte{
		"inventory.json": sample(t).Encode(),
		"record.json":    fullRecord().Encode(),
	} {
		path := filepath.Join("testdata", "golden", name)
		if *update {
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, got, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is written otherwise now:\n%s", name, got)
		}
	}
}

// handCheck is the command that FORMAT.md and every root's README.txt give.
const handCheck = `sed -n 's/^    "\([0-9a-f]\{64\}\)": \["\([^"]*\)".*/\1  \2/p' inventory.json | sha256sum -c`

// A person with sed and sha256sum can check an object: all of its content is
// looked at, and a flipped bit is found.
func TestObjectIsCheckedByHand(t *testing.T) {
	tool(t, "sha256sum")
	tool(t, "sed")
	shell := tool(t, "sh")
	format, err := os.ReadFile("FORMAT.md")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(format), handCheck) {
		t.Error("FORMAT.md gives another command")
	}
	folder := t.TempDir()
	inv := New(testID)
	stored := 0
	for i, content := range []map[string]string{
		{"2019/plot.jpg": "plot 2019", "2019/é.jpg": "landscape", "it's (a), b&c+d.txt": "note", "empty": ""},
		{"2019/plot.jpg": "plot 2019", "2020/a\nb\".jpg": "plot 2020"},
	} {
		draft, err := inv.Add(next(i+1, content))
		if err != nil {
			t.Fatal(err)
		}
		inv = draft.Inventory
		text := map[Digest]string{Sum(draft.Record): string(draft.Record)}
		for _, c := range content {
			text[sum(c)] = c
		}
		for p, d := range draft.New {
			write(t, folder, p, []byte(text[d]))
			stored++
		}
		write(t, folder, "inventory.json", draft.Encoded)
		write(t, folder, "inventory.json.sha256", Sidecar(draft.Encoded))
	}
	run := func(command string) (string, error) {
		cmd := exec.Command(shell, "-c", command)
		cmd.Dir = folder
		cmd.Env = append(os.Environ(), "LC_ALL=C")
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	if out, err := run("sha256sum -c inventory.json.sha256"); err != nil {
		t.Errorf("the sidecar: %v\n%s", err, out)
	}
	out, err := run(handCheck)
	if err != nil || strings.Count(out, ": OK\n") != stored {
		t.Fatalf("%d files are stored: %v\n%s", stored, err, out)
	}
	write(t, folder, "v1/content/2019/plot.jpg", []byte("plot 2018"))
	out, err = run(handCheck)
	if err == nil || !strings.Contains(out, "v1/content/2019/plot.jpg: FAILED") {
		t.Errorf("the altered file was not found: %v\n%s", err, out)
	}
	fmt.Fprintln(t.Output(), out)
}
