package cardview

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/moby/sys/mountinfo"

	"linecamp/daemon/intake"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// View is the plan as a person looks through it.
type View struct {
	Places []string // where removable drives are mounted now
	Folder string   // of the card that was looked through; "" for none
	At     time.Time
	Visits []Visit
	Known  int   // files that the archive has already
	Left   []Row // what stays on the card
	More   int   // of them, not listed
	Seen   string
	Files  int // that would be filed
	Line   string
}

// Visit is one visit of the plan.
type Visit struct {
	Number           int
	Date, Where, How string
	Reason           string // why nothing of it is filed
	Fits             bool   // something of it would be filed
	Files            []File
}

// File is one file of a visit.
type File struct {
	Row
	Key, Alt       string // of its small picture; "" for none
	Hour, View, To string
}

// Row is a file and what is said of it.
type Row struct{ Path, Says string }

// mostLeft is how many files that stay on the card are listed.
const mostLeft = 100

var by = map[string]string{intake.ByPosition: "by position", intake.ByTrack: "by the track",
	intake.ByOrder: "by the order of other years; please look", intake.ByPerson: "as told",
	intake.ByFolders: "by the folders it lies in"}

// View is the plan that was last looked through.
func (d *Desk) View(line words.Line) View {
	plan, seen := d.shown()
	v := View{Places: places(), Seen: seen, Line: line.Run("intake", "FOLDER")}
	if plan == nil {
		return v
	}
	v.Folder, v.At, v.Known, v.Files, v.Line = plan.Card, d.at, plan.Known.Files, plan.Waiting(), line.Run("intake", plan.Card)
	at := 0
	for i := range plan.Visits {
		x := &plan.Visits[i]
		u := Visit{Number: x.Number, Date: verify.Shown(x.Date), Where: verify.Shown(x.Where()), How: by[x.By], Reason: verify.Shown(x.ReasonText())}
		if x.Meters != nil {
			u.How = x.Distance() + " from it, " + u.How
		}
		for _, f := range x.Files {
			u.Fits = u.Fits || f.State == intake.Planned
			u.Files = append(u.Files, fileOf(x, f, fmt.Sprintf("%s-%d", seen, at)))
			at++
		}
		v.Visits = append(v.Visits, u)
	}
	for _, l := range slices.Concat(plan.Unread, plan.Left, plan.Passed) {
		v.Left = append(v.Left, Row{verify.Shown(l.Path), verify.Shown(l.Reason)})
	}
	if v.More = max(0, len(v.Left)-mostLeft); v.More > 0 {
		v.Left = v.Left[:mostLeft]
	}
	return v
}

func fileOf(v *intake.Visit, f intake.File, key string) File {
	x := File{Row: Row{verify.Shown(f.From), verify.Shown(f.Reason)}, To: verify.Shown(f.To), View: verify.Shown(f.View)}
	if f.View == tally.Untold {
		x.View = "view not known"
	}
	if len(f.Taken) >= 16 {
		x.Hour = verify.Shown(f.Taken[11:16])
	}
	if len(f.Small()) > 0 {
		x.Key = key
		x.Alt = strings.Join(slices.DeleteFunc([]string{x.View, verify.Shown(v.Where()), verify.Shown(v.Date), x.Path}, func(s string) bool { return s == "" }), ", ")
	}
	return x
}

// mostPlaces is how many mounted drives are offered.
const mostPlaces = 12

// places are where desktops mount removable drives. What cannot be told is not
// offered; a folder can be typed.
func places() (all []string) {
	mounts, _ := mountinfo.GetMounts(func(i *mountinfo.Info) (skip, stop bool) {
		for _, top := range []string{"/media/", "/run/media/"} {
			if strings.HasPrefix(i.Mountpoint, top) {
				return false, false
			}
		}
		return true, false
	})
	for _, m := range mounts {
		all = append(all, m.Mountpoint)
	}
	slices.Sort(all)
	all = slices.Compact(all)
	return all[:min(len(all), mostPlaces)]
}
