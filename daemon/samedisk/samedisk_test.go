package samedisk

import (
	"errors"
	"strings"
	"testing"
)

func TestNotes(t *testing.T) {
	disks := map[string]string{"/photos": "disk a", "/inside": "disk a", "/inside2": "disk a", "/shelf": "disk b", "/barn": "disk c", "/barn2": "disk c"}
	device := func(folder string) (string, error) {
		if d, ok := disks[folder]; ok {
			return d, nil
		}
		return "", errors.New("not here")
	}
	for _, c := range []struct {
		working string
		drives  []Drive
		want    []string
	}{
		{"/photos", []Drive{{"shelf", "/shelf"}, {"barn", "/barn"}, {"away", "/away"}, {"gone", "/away"}}, nil},
		{"/photos", []Drive{{"shelf", "/inside"}, {"barn", "/barn"}}, []string{"shelf lies on the same disk as the photos"}},
		{"/photos", []Drive{{"shelf", "/inside"}, {"other", "/inside2"}}, []string{"shelf and other lie on the same disk as the photos"}},
		{"/photos", []Drive{{"shelf", "/shelf"}, {"barn", "/barn"}, {"loft", "/barn2"}}, []string{"barn and loft share one disk"}},
		{"", []Drive{{"barn", "/barn"}, {"loft", "/barn2"}}, []string{"barn and loft share one disk"}},
		{"/photos", []Drive{{"a\x1b[2Jb", "/inside"}}, []string{"lies on the same disk"}},
	} {
		got := notes(c.working, c.drives, device)
		if len(got) != len(c.want) {
			t.Errorf("%v: %q", c.drives, got)
			continue
		}
		for i := range got {
			if !strings.Contains(got[i], c.want[i]) || strings.Contains(got[i], "\x1b") {
				t.Errorf("%v: %q, want %q", c.drives, got[i], c.want[i])
			}
		}
	}
}
