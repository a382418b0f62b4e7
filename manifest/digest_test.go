package manifest

import (
	"errors"
	"os/exec"
	"strings"
	"testing"

	"linecamp/manifest/names"
)

// Source: NIST, "Secure Hash Standard" FIPS 180-4, examples of SHA-256 (NIST's
// example values for one block, two blocks, and, from FIPS 180-2 appendix B.3,
// a million times the letter a).
func TestSumFIPS180(t *testing.T) {
	for _, c := range []struct{ message, want string }{
		{"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
		{"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
		{strings.Repeat("a", 1_000_000), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
	} {
		if got := sum(c.message).String(); got != c.want {
			t.Errorf("Sum(%q) = %s, want %s", names.Clip(c.message), got, c.want)
		}
	}
}

// Source: the program sha256sum on the same bytes.
func TestSumAgreesWithSha256sum(t *testing.T) {
	program := tool(t, "sha256sum")
	for _, size := range []int{0, 1, 55, 56, 63, 64, 65, 4096, 100_003} {
		content := strings.Repeat("grass ", size/6+1)[:size]
		cmd := exec.Command(program)
		cmd.Stdin = strings.NewReader(content)
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		if got, want := sum(content).String(), string(out[:64]); got != want {
			t.Errorf("%d bytes: Sum says %s, sha256sum %s", size, got, want)
		}
	}
}

func TestParseDigest(t *testing.T) {
	good := sum("abc").String()
	d, err := ParseDigest(good)
	if err != nil || d != sum("abc") {
		t.Fatalf("ParseDigest(%s) = %v, %v", good, d, err)
	}
	for _, bad := range []string{
		"", good[:63], good + "0", strings.ToUpper(good), "g" + good[1:], " " + good[1:], good[:63] + "\n",
		strings.Repeat("é", 32),
	} {
		if _, err := ParseDigest(bad); !errors.Is(err, ErrDigest) {
			t.Errorf("ParseDigest(%q) = %v, want ErrDigest", bad, err)
		}
	}
	var u Digest
	if err := u.UnmarshalText([]byte("no")); !errors.Is(err, ErrDigest) || !u.IsZero() {
		t.Errorf("UnmarshalText: %v, %v", u, err)
	}
}
