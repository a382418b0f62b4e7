package manifest

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

const (
	testArchive = "saltbush-draw"
	testID      = "linecamp:saltbush-draw:windmill--stake-3"
	testAuthor  = "6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11"
	testCopy    = "b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22"
)

var (
	testTime = time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	testUser = User{Name: "office", Address: "urn:uuid:" + testAuthor}
)

// sum is the digest of a test's content, which is its own text.
func sum(content string) Digest { return Sum([]byte(content)) }

// files turns path → content into a state.
func files(content map[string]string) map[string]Digest {
	state := map[string]Digest{}
	for p, c := range content {
		state[p] = sum(c)
	}
	return state
}

// recordFor makes the smallest record that fits a state.
func recordFor(state map[string]Digest) Record {
	r := Record{Site: "Stake 3", Pasture: "Windmill", Base: "Windmill/Stake 3", Paths: map[string]Entry{}}
	for p := range state {
		if !Reserved(p) {
			r.Paths[p] = Entry{Bytes: 1, Kind: KindOther, Modified: testTime}
		}
	}
	return r
}

// next makes the n-th version's Next from path → content.
func next(n int, content map[string]string) Next {
	state := files(content)
	return Next{
		Created: testTime.Add(time.Duration(n) * time.Hour),
		User:    testUser,
		Message: "round",
		State:   state,
		Record:  recordFor(state),
	}
}

// history authors one version after the other.
func history(t testing.TB, versions ...map[string]string) *Inventory {
	t.Helper()
	inv := New(testID)
	for i, content := range versions {
		draft, err := inv.Add(next(i+1, content))
		if err != nil {
			t.Fatal(err)
		}
		inv = draft.Inventory
	}
	return inv
}

// tool returns the path of a program that every Linux machine has, and skips
// the test elsewhere.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if runtime.GOOS == "linux" {
		t.Fatalf("this check needs the program %s", name)
	}
	t.Skipf("this check needs the program %s, which is not everywhere outside Linux", name)
	return ""
}

func write(t *testing.T, folder, name string, b []byte) {
	t.Helper()
	path := filepath.Join(folder, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o666); err != nil {
		t.Fatal(err)
	}
}
