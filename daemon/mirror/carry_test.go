package mirror

import (
	"context"
	"errors"
	"io/fs"
	"slices"
	"testing"

	"linecamp/daemon/carried"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
)

// leftOn is the list on a copy, by path.
func leftOn(t *testing.T, c *copyOf) (all []string, list carried.List) {
	t.Helper()
	list, err := carried.ReadList(context.Background(), c.root)
	must(t, err)
	for _, f := range list.NotHere {
		all = append(all, f.Path)
	}
	slices.Sort(all)
	return all, list
}

// A copy tells what it does not have although not one of these files reached it: what
// is sealed elsewhere, and what is not recorded anywhere yet.
func TestCopyTellsWhatItLacksBeforeItIsSent(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("Windmill/Stake 3", "2020-06-21")
	r.wantCurrent(r.mirror())
	if paths, list := leftOn(t, r.copies[1]); len(paths) != 0 || list.FolderFiles != 3 || list.Machine != "office" {
		t.Errorf("when all is there: %v, %+v", paths, list)
	}

	barn := r.copies[1]
	barn.away = true
	r.visit("Windmill/Stake 3", "2021-06-21")
	r.mirror()
	barn.away = false
	r.visit("Windmill/Stake 3", "2022-06-21")
	whole := barn.root
	barn.root = &failing{Root: whole} // the first file fails
	for _, c := range r.mirror().Copies {
		if c.Copy == "barn" && c.State == reach.Current {
			t.Fatal("barn is current although nothing could be sent")
		}
	}
	barn.root = whole
	want := []string{}
	for _, day := range []string{"2021-06-21", "2022-06-21"} {
		for _, name := range []string{"landscape.jpg", "notes.txt", "plot.jpg"} {
			want = append(want, "Windmill/Stake 3/"+day+"/"+name)
		}
	}
	paths, list := leftOn(t, barn)
	if !slices.Equal(paths, want) || list.NotHere[0].Path[:27] != "Windmill/Stake 3/2022-06-21" || list.NotHere[0].Bytes == 0 {
		t.Errorf("got %v, first %+v; want %v", paths, list.NotHere[0], want)
	}

	r.wantCurrent(r.mirror())
	if paths, _ := leftOn(t, barn); len(paths) != 0 {
		t.Errorf("after the round: %v", paths)
	}
}

// What waits is on the list too, and a copy without files of its own to be sent gets it.
func TestCopyTellsWhatIsNotRecordedYet(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("Windmill/Stake 3", "2020-06-21")
	r.copies[0].root = &failing{Root: r.copies[0].root}
	r.mirror()
	paths, list := leftOn(t, r.copies[0])
	if len(paths) != 3 || list.NotHere[0].Why != carried.NotRecorded {
		t.Errorf("%v %+v", paths, list)
	}
}

// Only the computer that records says what goes there.
func TestOtherComputersPutNoSettingsThere(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("Windmill/Stake 3", "2020-06-21")
	r.wantCurrent(r.mirror())
	other := newRanch(t)
	other.author = "55555555-5555-4555-8555-555555555555"
	other.now = r.now
	other.copies = r.copies
	other.visit("Windmill/Stake 3", "2021-06-21")
	other.mirror(func(in *In) { in.Settings = []byte("archive = \"saltbush-draw\"\nname = \"other\"\n") })
	other.copies = nil
	s, err := carried.ReadSettings(context.Background(), r.copies[0].root)
	if err != nil || s.Title == "other" {
		t.Errorf("%+v, %v", s, err)
	}
	if _, list := leftOn(t, r.copies[0]); list.Files != 0 {
		t.Errorf("%+v", list)
	}
}

// unwritten is a copy on which nothing that it carries beside the photos can be written.
type unwritten struct{ store.Root }

func (u unwritten) Create(ctx context.Context, key string, c store.Content) (store.Info, error) {
	if key[:min(len(key), len(carried.SettingsFolder))] == carried.SettingsFolder || key == carried.ListKey {
		return store.Info{}, store.ErrReadOnly
	}
	return u.Root.Create(ctx, key, c)
}

func (u unwritten) Replace(ctx context.Context, key string, c store.Content, was *store.Info) (store.Info, error) {
	if key == carried.ListKey {
		return store.Info{}, store.ErrReadOnly
	}
	return u.Root.Replace(ctx, key, c, was)
}

// Where it cannot be written, that costs knowledge and no photo, and is said.
func TestWhatIsCarriedNeverStopsAPhoto(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("Windmill/Stake 3", "2020-06-21")
	whole := r.copies[0].root
	r.copies[0].root = unwritten{whole}
	rep := r.mirror()
	if rep.Copies[0].State != reach.Current || rep.Copies[0].Note == "" {
		t.Errorf("%+v", rep.Copies[0])
	}
	r.copies[0].root = whole
	if _, err := carried.ReadList(context.Background(), whole); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	r.wantCurrent(r.mirror())
	leftOn(t, r.copies[0])
}
