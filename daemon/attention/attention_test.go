package attention

import (
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/verify"
)

var now = time.Date(2026, 11, 28, 9, 0, 0, 0, time.UTC)

// well are the facts of an archive of which nothing wants a person.
func well() Facts {
	return Facts{
		Now: now, Folder: "/srv/monitoring", Recorded: 3,
		Copies: []Copy{{Name: "shelf", ID: "1", State: current}, {Name: "barn", ID: "2", State: current}},
		Rounds: []Round{
			{Kind: "mirror", At: now.Add(-time.Hour), Done: now.Add(-time.Hour), Scheduled: true},
			{Kind: "verify", At: now.Add(-time.Hour), Done: now.Add(-time.Hour), Scheduled: true},
		},
		Years: map[string]int{verify.Whole: 8, verify.Due: 1, verify.Explained: 2},
	}
}

func TestEachLackIsNamedWithTheNextStep(t *testing.T) {
	some := Amount{Files: 3, Bytes: 3000}
	long := now.AddDate(0, 0, -9)
	for name, tt := range map[string]struct {
		change func(*Facts)
		kind   Kind // "" for nothing
		what   string
		next   string
		since  time.Time
	}{
		"all is well":      {change: func(f *Facts) {}},
		"a folder is kept": {change: func(f *Facts) { f.Folder = "" }},
		"folder gone": {func(f *Facts) { f.FolderFault = "your folder /srv/monitoring is not there" },
			FolderGone, "Your folder /srv/monitoring is not there.", "settings", now},
		"folder empty": {func(f *Facts) { f.Empty = true }, FolderEmpty, "no file at all", "right drive", now},
		"nothing recorded yet": {func(f *Facts) { f.Recorded, f.Late = 0, some; f.Rounds[0].Done = time.Time{} },
			NothingKept, "Nothing of this archive is known to be kept", "`linecamp mirror`", now},
		"an empty archive after its round": {change: func(f *Facts) { f.Recorded = 0 }},
		"added days ago": {func(f *Facts) { f.Late, f.Oldest, f.Path, f.Served = some, long, "A/b.jpg", true },
			NotRecorded, "3 files (3.0 kB) in your folder are not recorded yet, the first of them A/b.jpg.", "`linecamp mirror`", long},
		"new, and nobody comes":      {func(f *Facts) { f.New = some }, NotRecorded, "3 files", "`linecamp mirror`", now},
		"new, and the service comes": {change: func(f *Facts) { f.New, f.Served = some, true }},
		"new, and no time is named":  {func(f *Facts) { f.New, f.Served, f.Rounds[0].Scheduled = some, true, false }, NotRecorded, "3 files", "", now},
		"a client is quiet": {func(f *Facts) { f.Folder, f.Wrote, f.Quiet = "", now.AddDate(0, 0, -31), 30*24*time.Hour },
			ClientQuiet, "has written nothing for 31 days.", "`quiet`", now.AddDate(0, 0, -1)},
		"a client may be quiet":          {change: func(f *Facts) { f.Folder, f.Wrote, f.Quiet = "", now.AddDate(0, 0, -30), 30*24*time.Hour }},
		"a client may be quiet for ever": {change: func(f *Facts) { f.Folder, f.Wrote = "", now.AddDate(-9, 0, 0) }},
		"who records is not a client":    {change: func(f *Facts) { f.Wrote, f.Quiet = now.AddDate(-9, 0, 0), time.Hour }},
		"notices at fault":               {func(f *Facts) { f.NoticeFault = "a.toml:3: notice.tls: write it" }, NoticeFault, "a.toml:3: notice.tls: write it.", "notice --try", now},
		"notices unsent":                 {func(f *Facts) { f.Unsent, f.UnsentSince = "mail.example does not answer", long }, NoticeUnsent, "mail.example does not answer.", "notice --try", long},
		"another records":                {func(f *Facts) { f.Recorder = "barn\x1b[2J" }, OtherRecorder, `Another computer records this archive: barn\u{1b}[2J.`, "--take-over", now},
		"never in the folder": {func(f *Facts) {
			f.NotHere = []NotHere{{some, "Windmill / Stake 3", "Stake 3", []int{2024, 2025, 2026}, "A/b.jpg"}}
		}, NeverHere, "3 files (3.0 kB) are recoverable: on record, and never in your folder. Of Windmill / Stake 3 in 2024", "run `linecamp restore 'Stake 3' --on ", now},
		"never in the folder, of several": {func(f *Facts) {
			f.NotHere = []NotHere{{some, "Windmill / Stake 3", "Stake 3", nil, "A/b.jpg"}, {Amount{Files: 1}, "files without a site", "", nil, "x"}}
		}, NeverHere, "4 files (3.0 kB) are recoverable: on record, and never in your folder. Of Windmill / Stake 3; files without a site.", "`linecamp restore --everything --on ", now},
		"a mass change waits": {func(f *Facts) {
			f.Waits = []Wait{{ChangeWaits, "too much at once; look, then run `linecamp mirror --accept-changes`", 30, 20, "A/b.jpg", long}}
		}, ChangeWaits, "30 files wait to be recorded: too much at once.", "look, then run `linecamp mirror --accept-changes`", long},
		"what waits is told once": {func(f *Facts) {
			f.Late, f.Path = Amount{20, 20000}, "A/b.jpg"
			f.Waits = []Wait{{ChangeWaits, "too much at once; look", 30, 20, "A/b.jpg", long}}
		}, ChangeWaits, "30 files wait to be recorded: too much at once.", "look", long},
		"no drill for long": {func(f *Facts) { f.Copies[1].Undrilled = long }, DrillOverdue, "No practice recovery from barn has succeeded since November 19, 2026.", "run `linecamp drill --copy barn`", long},
		"no drill for long, and a drive that is away": {func(f *Facts) { f.Copies[1].State, f.Copies[1].Undrilled = away, long },
			DrillOverdue, "from barn", "plug it in, then run `linecamp drill", long},
		"no drill, and nothing recorded":     {change: func(f *Facts) { f.Recorded, f.Copies[1].Undrilled = 0, long }},
		"a drill failed, and it is not long": {change: func(f *Facts) { f.Copies[1].DrillTried, f.Copies[1].DrillFailure = long, "it did not answer" }},
		"a drill found other bytes": {func(f *Facts) {
			f.Copies[1].DrillDamaged, f.Copies[1].DrillTried, f.Copies[1].DrillFailure = true, long, "A/b.jpg: it is not there"
		}, DrillFailed, "did not find the right bytes: A/b.jpg", "run `linecamp verify`", long},
		"the check of a copy that fails is told once": {func(f *Facts) {
			f.Copies[1].State, f.Copies[1].Error = "failed", "the keys are not valid"
			f.Checks = []Check{{Kind: CheckFailed, ID: "2", Copy: "barn", What: "the keys are not valid"}}
		}, CopyFailed, "The keys are not valid.", "", now},
		"the check of a folder that is gone is told once": {func(f *Facts) {
			f.FolderFault = "your folder /srv/monitoring is not there"
			f.Checks = []Check{{Kind: CheckFailed, ID: verify.WorkingName, Copy: verify.WorkingName, What: "no such folder"}}
		}, FolderGone, "is not there", "settings", now},
		"behind":        {func(f *Facts) { f.Copies[1].State, f.Copies[1].ToGo, f.Copies[1].Since = behind, some, long }, CopyBehind, "It lacks 3 files (3.0 kB).", "`linecamp mirror`", long},
		"getting there": {change: func(f *Facts) { f.Copies[1].State, f.Copies[1].ToGo, f.Copies[1].Moving = behind, some, true }},
		"getting there, with a fault": {func(f *Facts) {
			f.Copies[1].State, f.Copies[1].Moving, f.Copies[1].Error = behind, true, "its manifest is damaged"
		}, CopyBehind, "Its manifest is damaged.", "", now},
		"away, another has all": {change: func(f *Facts) { f.Copies[1].State, f.Copies[1].ToGo = away, some }},
		"away, no other has all": {func(f *Facts) {
			f.Copies[0].State, f.Copies[0].Moving, f.Copies[1].State, f.Copies[1].ToGo = behind, true, away, some
		}, CopyAway, "It lacks 3 files", "plug it in", now},
		"away, another is short": {func(f *Facts) {
			f.Copies[1].State, f.Copies[1].ToGo = away, some
			f.Copies[0].Short = "short of 1 file"
		}, CopyShort, "shelf is short of 1 file.", "", now},
		"over its days": {func(f *Facts) { f.Copies[1].State, f.Copies[1].Since = unreachable, long }, CopyUnreachable, "barn is out of reach.", "", long},
		"too large for FAT": {func(f *Facts) {
			f.Copies[1].Short = "short of 1 file, too large for FAT"
			f.Copies[1].State, f.Copies[1].Error = behind, f.Copies[1].Short
		}, CopyShort, "barn is short of 1 file, too large for FAT.", "--add-copy", now},
		"refused":     {func(f *Facts) { f.Copies[1].State, f.Copies[1].Error = "failed", "there is no space left on it" }, CopyFailed, "There is no space left on it.", "", now},
		"damage":      {func(f *Facts) { f.Damaged = 1 }, Damage, "1 file is damaged, or was not put there by linecamp.", "`linecamp mend`", now},
		"a year lost": {func(f *Facts) { f.Years[verify.Lost] = 1 }, Years, "1 lost", "--only years", now},
		"a seal broken": {func(f *Facts) {
			f.Checks = []Check{{Kind: SealBroken, Copy: "shelf", What: "line 3 differs", Since: long}}
		}, SealBroken, "shelf is not as sealed", "--seal", long},
		"a check cut short": {func(f *Facts) {
			f.Checks = []Check{{Kind: CheckFailed, ID: "1", Copy: "shelf", What: "too many errors"}}
		}, CheckFailed, "did not come to its end", "verify", now},
		"a round failed":    {func(f *Facts) { f.Rounds[0].Failed, f.Rounds[0].At = "no space", long }, RoundFailed, "The last mirror round failed: No space.", "`linecamp mirror`", long},
		"no round for long": {func(f *Facts) { f.Rounds[1].Overdue, f.Rounds[1].Service = long, "No service has ever run here." }, RoundOverdue, "longer than the schedule says. No service has ever run here.", "`linecamp verify`", long},
		"noted before":      {func(f *Facts) { f.Empty = true; f.Noted = map[string]time.Time{"folder-empty ": long} }, FolderEmpty, "", "", long},
	} {
		t.Run(name, func(t *testing.T) {
			f := well()
			tt.change(&f)
			got := Of(f)
			if tt.kind == "" {
				if len(got) > 0 {
					t.Fatalf("it asks for a person: %+v", got)
				}
				return
			}
			if len(got) == 0 || got[0].Kind != tt.kind || !strings.Contains(got[0].What, tt.what) || !strings.Contains(got[0].Next, tt.next) || got[0].Next == "" || !got[0].Since.Equal(tt.since) {
				t.Errorf("it says %+v", got)
			}
		})
	}
}

// A new-machine that was stopped hides that nothing is recorded, which it would see to
// itself, and no other lack of the folder.
func TestAStoppedNewMachineHidesNoOtherLack(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(*Facts)
		also   Kind // "" for nothing
	}{
		"nothing recorded": {func(f *Facts) { f.Recorded, f.Late = 0, Amount{Files: 3}; f.Rounds[0].Done = time.Time{} }, ""},
		"folder gone":      {func(f *Facts) { f.FolderFault = "your folder is not there" }, FolderGone},
		"folder empty":     {func(f *Facts) { f.Empty = true }, FolderEmpty},
		"another records":  {func(f *Facts) { f.Recorder = "barn" }, OtherRecorder},
		"not recorded":     {func(f *Facts) { f.Late = Amount{Files: 3} }, NotRecorded},
	} {
		f := well()
		f.HalfBack = true
		tt.change(&f)
		want := []Kind{NotBrought}
		if tt.also != "" {
			want = append(want, tt.also)
		}
		var got []Kind
		for _, i := range Of(f) {
			got = append(got, i.Kind)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: it names %q, not %q", name, got, want)
		}
	}
}
