package manifest

import (
	"testing"
	"time"
)

func TestAnEarlierRecordIsMadeFromALaterOne(t *testing.T) {
	at := time.Date(2019, 6, 21, 9, 0, 0, 0, time.UTC)
	photo := Entry{Bytes: 4, Modified: at, Visit: "2019-06-21", View: "plot", Kind: KindPhoto}
	raw := Entry{Bytes: 9, Modified: at, Visit: "2019-06-21", Kind: KindCompanion}
	explained := Decision{What: Explained, Who: "Ada", When: at, Why: "flood", Years: []string{"2018"}}
	first := &Record{Site: "Windmill", Pasture: "North", Base: "North/Windmill", Paths: map[string]Entry{"a/plot.jpg": photo, "a/plot.dng": raw}}
	state := map[string]Digest{"a/plot.jpg": Sum([]byte("1")), "a/plot.dng": Sum([]byte("2")), RecordPath: Sum(first.Encode())}

	paired := raw
	paired.With = "b/plot.jpg"
	later := &Record{Site: "Windmill", Pasture: "North", Base: "North/Windmill", Decisions: []Decision{explained},
		Paths: map[string]Entry{"a/plot.jpg": photo, "a/plot.dng": paired, "b/plot.jpg": photo}}
	if b := later.Earlier(state); string(b) != string(first.Encode()) {
		t.Errorf("it is %s", b)
	}
	if len(later.Paths) != 3 || later.Paths["a/plot.dng"].With == "" || len(later.Decisions) != 1 {
		t.Error("the later record was changed")
	}
	moved := *later
	moved.Base = "North/Old Mill"
	if b := moved.Earlier(state); b != nil {
		t.Errorf("of another folder it is %s", b)
	}
	delete(later.Paths, "a/plot.jpg")
	if b := later.Earlier(state); b != nil {
		t.Errorf("without one of its paths it is %s", b)
	}
	if b := later.Earlier(map[string]Digest{}); b != nil {
		t.Errorf("of a version without record it is %s", b)
	}
}
