package main

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// commands are what the scripts can do beside running programs.
var commands = map[string]func(ts *testscript.TestScript, neg bool, args []string){
	"ends":    ends,
	"json":    jsonValue,
	"photo":   photo,
	"ranch":   ranch,
	"file":    file,
	"age":     age,
	"fresh":   fresh,
	"flip":    flip,
	"listing": listing,
	"same":    same,
	"shows":   shows,
	"becomes": becomes,
	"sparse":  sparse,
	"tmpfs":   tmpfs,
}

// ends STATUS PROGRAM ARGS… runs a program and wants exactly this exit status.
func ends(ts *testscript.TestScript, neg bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var ended *exec.ExitError
	switch {
	case errors.As(err, &ended):
		got = ended.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if got != want || neg {
		ts.Fatalf("%s ended with status %d, not %d", strings.Join(args[1:], " "), got, want)
	}
}

// json FILE WHERE [VALUE] wants exactly one JSON object in FILE and compares
// what is at WHERE, a path such as copies.0.state. "count" at its end counts the
// elements. "! json FILE WHERE" wants nothing to be there.
func jsonValue(ts *testscript.TestScript, neg bool, args []string) {
	dec := json.NewDecoder(strings.NewReader(ts.ReadFile(args[0])))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		ts.Fatalf("%s is not JSON: %v", args[0], err)
	}
	if dec.More() {
		ts.Fatalf("%s holds more than one JSON value", args[0])
	}
	if _, ok := v.(map[string]any); !ok {
		ts.Fatalf("%s is not a JSON object", args[0])
	}
	got, ok := at(v, strings.Split(args[1], "."))
	if neg {
		if ok && (len(args) < 3 || got == args[2]) {
			ts.Fatalf("%s: %s is there: %s", args[0], args[1], got)
		}
		return
	}
	if !ok {
		ts.Fatalf("%s: nothing at %s in\n%s", args[0], args[1], ts.ReadFile(args[0]))
	}
	if len(args) > 2 && got != args[2] {
		ts.Fatalf("%s: %s is %s, not %s", args[0], args[1], got, args[2])
	}
}

func at(v any, path []string) (string, bool) {
	for _, p := range path {
		switch x := v.(type) {
		case map[string]any:
			if p == "count" {
				return strconv.Itoa(len(x)), true
			}
			y, ok := x[p]
			if !ok {
				return "", false
			}
			v = y
		case []any:
			if p == "count" {
				return strconv.Itoa(len(x)), true
			}
			i, err := strconv.Atoi(p)
			if err != nil || i >= len(x) {
				return "", false
			}
			v = x[i]
		case nil:
			if p == "count" {
				return "0", true
			}
			return "", false
		default:
			return "", false
		}
	}
	if s, ok := v.(string); ok {
		return s, true
	}
	b, _ := json.Marshal(v)
	return string(b), true
}

// photo FILE… makes files that are built as JPEGs are, no two alike.
func photo(ts *testscript.TestScript, neg bool, args []string) {
	for _, name := range args {
		b := []byte{0xFF, 0xD8, 0xFF, 0xE0, 0, 16, 'J', 'F', 'I', 'F', 0, 1, 1, 0, 0, 1, 0, 1, 0, 0}
		sum := sha256.Sum256([]byte(name))
		noise := rand.NewChaCha8(sum)
		body := make([]byte, 3000+int(sum[0])*8)
		noise.Read(body)
		for i, c := range body { // no markers inside
			if c == 0xFF {
				body[i] = 0
			}
		}
		// A frame of 16 by 16, and the scan begins; no decoder can read it.
		copy(body, "\xff\xc0\x00\x0b\x08\x00\x10\x00\x10\x01\x01\x11\x00\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00")
		b = append(append(b, body...), 0xFF, 0xD9)
		write(ts, ts.MkAbs(name), b)
	}
}

// ranch FOLDER lays out a small invented record: two sites, four years to this
// one, a plot, a landscape and a note each; 24 files. It sets Y0 to this year,
// Y1 to last year, and so on to Y3.
func ranch(ts *testscript.TestScript, neg bool, args []string) {
	now := time.Now().Year()
	for i := range 4 {
		ts.Setenv(fmt.Sprintf("Y%d", i), strconv.Itoa(now-i))
	}
	for i, day := range []string{"", "-06-20", "-06-18", "-06-15"} {
		year := strconv.Itoa(now - i)
		for _, visit := range []string{"Windmill/Stake 3/" + year + day, "North Draw/Post 1/" + year} {
			dir := args[0] + "/" + visit + "/"
			photo(ts, false, []string{dir + "plot.jpg", dir + "landscape.jpg"})
			write(ts, ts.MkAbs(dir+"notes.txt"), []byte("Grass ankle high, "+visit+".\n"))
		}
	}
}

// file GONAME TEXT writes a file whose name is written as a Go string, which
// can hold every byte a file system allows. In it, {N} stands for filling the
// name's last element up to N bytes.
func file(ts *testscript.TestScript, neg bool, args []string) {
	write(ts, ts.MkAbs(goName(ts, args[0])), []byte(args[1]))
}

func goName(ts *testscript.TestScript, s string) string {
	name, err := strconv.Unquote(`"` + s + `"`)
	ts.Check(err)
	if m := regexp.MustCompile(`\{(\d+)\}`).FindStringSubmatchIndex(name); m != nil {
		n, _ := strconv.Atoi(name[m[2]:m[3]])
		name = name[:m[0]] + name[m[1]:]
		last := name[strings.LastIndexByte(name, '/')+1:]
		name = name[:m[0]] + strings.Repeat("n", n-len(last)) + name[m[0]:]
	}
	return name
}

func write(ts *testscript.TestScript, path string, b []byte) {
	ts.Check(os.MkdirAll(filepath.Dir(path), 0o755))
	ts.Check(os.WriteFile(path, b, 0o644))
	settle(ts, path)
}

// settle gives a file a time well in the past, different for each, so that it
// does not count as still being written. Times have odd nanoseconds, to show
// that these are kept too.
func settle(ts *testscript.TestScript, path string) {
	sum := sha256.Sum256([]byte(path))
	at := time.Date(2020, 1, 1, 0, 0, int(sum[0])*1000, int(sum[1])*1001001, time.UTC)
	ts.Check(os.Chtimes(path, at, at))
}

// fresh FILE… gives files a time that counts as just now for as long as a script
// may take: linecamp treats an hour ahead so.
func fresh(ts *testscript.TestScript, neg bool, args []string) {
	at := time.Now().Add(time.Hour)
	for _, a := range args {
		ts.Check(os.Chtimes(only(ts, a), at, at))
	}
}

// age PATH… gives everything below the paths a time well in the past.
func age(ts *testscript.TestScript, neg bool, args []string) {
	for _, a := range args {
		ts.Check(filepath.WalkDir(ts.MkAbs(a), func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() {
				settle(ts, path)
			}
			return err
		}))
	}
}

// flip FILE changes one bit in the middle of it and leaves size and time.
func flip(ts *testscript.TestScript, neg bool, args []string) {
	for _, a := range args {
		path := only(ts, a)
		info, err := os.Stat(path)
		ts.Check(err)
		b, err := os.ReadFile(path)
		ts.Check(err)
		b[len(b)/2] ^= 0x10
		ts.Check(os.Chmod(path, 0o644))
		ts.Check(os.WriteFile(path, b, 0o644))
		ts.Check(os.Chtimes(path, info.ModTime(), info.ModTime()))
	}
}

// only turns a pattern into the one path it fits.
func only(ts *testscript.TestScript, pattern string) string {
	found, err := filepath.Glob(ts.MkAbs(pattern))
	ts.Check(err)
	if len(found) != 1 {
		ts.Fatalf("%s fits %d paths, not one", pattern, len(found))
	}
	return found[0]
}

// listing FOLDER prints every file below it to stdout's place, the file named
// last: name, size, time to the nanosecond and SHA-256.
func listing(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(listed(ts, args[0])), 0o644))
}

func listed(ts *testscript.TestScript, folder string) string {
	root := ts.MkAbs(folder)
	var lines []string
	ts.Check(filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		lines = append(lines, fmt.Sprintf("%q %d %s %x\n", filepath.ToSlash(rel), info.Size(), info.ModTime().UTC().Format(time.RFC3339Nano), sha256.Sum256(b)))
		return nil
	}))
	slices.Sort(lines)
	return strings.Join(lines, "")
}

// same A B compares two folders, file by file: names, bytes and times.
func same(ts *testscript.TestScript, neg bool, args []string) {
	a, b := listed(ts, args[0]), listed(ts, args[1])
	if a == "" && !neg {
		ts.Fatalf("%s is empty, which proves nothing", args[0])
	}
	if (a == b) == neg {
		ts.Fatalf("%s:\n%s\n%s:\n%s", args[0], a, args[1], b)
	}
}

// shows FILE TEXT… wants each TEXT to stand somewhere in FILE, letter by
// letter.
func shows(ts *testscript.TestScript, neg bool, args []string) {
	for _, text := range args[1:] {
		if strings.Contains(ts.ReadFile(args[0]), text) == neg {
			ts.Fatalf("%s: looked for %q in\n%s", args[0], text, ts.ReadFile(args[0]))
		}
	}
}

// becomes FILE PATTERN waits until FILE is there and matches.
func becomes(ts *testscript.TestScript, neg bool, args []string) {
	re := regexp.MustCompile(args[1])
	end := time.Now().Add(150 * time.Second)
	var last string
	for time.Now().Before(end) {
		found, _ := filepath.Glob(ts.MkAbs(args[0]))
		for _, f := range found {
			b, _ := os.ReadFile(f)
			if last = string(b); re.Match(b) {
				return
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
	ts.Fatalf("%s never matched %s; last it held\n%s", args[0], args[1], last)
}

// sparse FILE BYTES makes a file of zeros that takes no room.
func sparse(ts *testscript.TestScript, neg bool, args []string) {
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	path := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(filepath.Dir(path), 0o755))
	f, err := os.Create(path)
	ts.Check(err)
	ts.Check(f.Truncate(n))
	ts.Check(f.Close())
	settle(ts, path)
}

// tmpfs FOLDER mounts an empty file system; "tmpfs FOLDER ro" lets nothing be
// written to it any more.
func tmpfs(ts *testscript.TestScript, neg bool, args []string) {
	dir := ts.MkAbs(args[0])
	if len(args) > 1 {
		ts.Check(exec.Command("mount", "-o", "remount,"+args[1], dir).Run())
		return
	}
	ts.Check(os.MkdirAll(dir, 0o755))
	ts.Check(exec.Command("mount", "-t", "tmpfs", "tmpfs", dir).Run())
	ts.Defer(func() { exec.Command("umount", "-l", dir).Run() })
}
