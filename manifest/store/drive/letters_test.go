package drive

import (
	"slices"
	"testing"
)

func TestLettersOfDrives(t *testing.T) {
	for set, want := range map[uint32][]string{
		0: nil, 1: {`A:\`}, 0b1100: {`C:\`, `D:\`}, 1<<25 | 1<<4: {`E:\`, `Z:\`}, 1 << 31: nil,
	} {
		if got := letters(set); !slices.Equal(got, want) {
			t.Errorf("%b: %q, want %q", set, got, want)
		}
	}
}
