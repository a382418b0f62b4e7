package words

import "testing"

func TestSize(t *testing.T) {
	for n, want := range map[int64]string{0: "0 bytes", 999: "999 bytes", 1000: "1.0 kB", 9949: "9.9 kB", 9950: "10 kB", 999_499: "999 kB",
		999_500: "1.0 MB", 3_000_000_000: "3.0 GB"} {
		if got := Size(n); got != want {
			t.Errorf("Size(%d) = %q, want %q", n, got, want)
		}
	}
}
