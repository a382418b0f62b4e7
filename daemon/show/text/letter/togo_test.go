package letter

import (
	"testing"

	"linecamp/daemon/attention"
	"linecamp/daemon/link"
)

func TestToGoSaysHowLong(t *testing.T) {
	n := attention.Amount{Files: 310, Bytes: 12_400_000_000}
	for want, o := range map[string]*link.Outlook{
		"310 files (12 GB) still to go":             nil,
		"310 files (12 GB) to go":                   {},
		"310 files (12 GB) to go, about 9 nights":   {Days: 9, Nights: true},
		"310 files (12 GB) to go, about 1 day":      {Days: 1},
		"310 files (12 GB) to go, about 4 months":   {Days: 120, Nights: true},
		"310 files (12 GB) to go, more than a year": {Days: 367},
	} {
		if got := ToGo(n, o); got != want {
			t.Errorf("%+v: %q, want %q", o, got, want)
		}
	}
}
