package main

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"path/filepath"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/cmd/ranchdemo/ranch/exif"
)

// benchName names a second invented record, in Calico County: awkward in every
// habit, and without any fault. Whoever checks it is to find nothing. Its pictures
// are only noise, since nobody looks at them.
const benchName = "Threeawn Bench Allotment"

// drawBench writes the allotment's folder below dir, as it stands on the evening
// of a day: what was visited until then, and nothing later.
func drawBench(dir string, now time.Time) error {
	b := &bench{dir: dir, now: now}
	for _, habit := range []func(*bench){
		(*bench).cameraNames, (*bench).yearFolders, (*bench).everySecondYear, (*bench).changedCadence, (*bench).springAndFall, (*bench).scannedPrints,
		(*bench).restaked, (*bench).burned, (*bench).exports, (*bench).overNewYear, (*bench).moreViews, (*bench).sharedNotes,
	} {
		habit(b)
	}
	return b.err
}

// Its pictures are this size, in pixels.
const wide, tall = 48, 32

type bench struct {
	dir  string
	now  time.Time
	roll int // the number in a camera's file name
	err  error
}

// stakeAt is where the camera stands: half a kilometer from one site to the next.
func stakeAt(site int) (lat, lon float64) { return 38.55 + 0.005*float64(site), -102.95 }

// taken is one picture's record, of a camera that knows its position.
func taken(site int, t time.Time) *exif.Shot {
	lat, lon := stakeAt(site)
	return &exif.Shot{Make: "Longspur Optical", Model: "Pocket 8", Time: t, Lat: lat, Lon: lon, Error: 4, Elevation: 1310, Bearing: -1, Exposure: 250, Wide: wide, Tall: tall}
}

// picture writes one photo; s is nil for one without any record of a camera's.
func (b *bench) picture(name string, when time.Time, s *exif.Shot) {
	var record func([]byte) ([]byte, error)
	if s != nil {
		record = func(j []byte) ([]byte, error) { return exif.With(j, *s) }
	}
	b.noise(name, when, record)
}

func (b *bench) noise(name string, when time.Time, record func([]byte) ([]byte, error)) {
	if b.err != nil || when.After(b.now) {
		return
	}
	m := image.NewGray(image.Rect(0, 0, wide, tall))
	d := ranch.Random(1, "bench", name)
	for i := range m.Pix {
		m.Pix[i] = uint8(d.Uint32())
	}
	var j bytes.Buffer
	if b.err = jpeg.Encode(&j, m, nil); b.err != nil {
		return
	}
	out := j.Bytes()
	if record != nil {
		if out, b.err = record(out); b.err != nil {
			return
		}
	}
	b.file(name, out, when)
}

func (b *bench) file(name string, content []byte, when time.Time) {
	if b.err == nil && !when.After(b.now) {
		b.err = ranch.WriteFile(filepath.Join(b.dir, filepath.FromSlash(name)), content, when.Add(5*time.Hour))
	}
}

// day is some morning within a week of a date.
func day(site string, year int, month time.Month, middle int) time.Time {
	d := ranch.Random(1, "day", site, year, month)
	return time.Date(year, month, middle-5+d.IntN(11), 8, d.IntN(240), d.IntN(60), 0, ranch.Zone)
}

// cameraNames: yearly since 2008, and the files are named as the camera did.
func (b *bench) cameraNames() {
	for year := 2008; year <= b.now.Year(); year++ {
		t := day("Post A", year, time.June, 18)
		for i := range 2 {
			b.roll += 1 + i
			when := t.Add(time.Duration(i) * 2 * time.Minute)
			if year%6 == 0 {
				when = t.AddDate(0, 0, i) // rain; the second picture lies in the next day's folder
			}
			b.picture(fmt.Sprintf("Bench/Post A/%s/IMG_%04d.JPG", when.Format(time.DateOnly), b.roll), when, taken(1, when))
		}
	}
}

// yearFolders: yearly since 2010, in folders that tell the year alone; the camera
// tells the day, and now and then two of them.
func (b *bench) yearFolders() {
	for year := 2010; year <= b.now.Year(); year++ {
		t := day("Post D", year, time.June, 22)
		for i := range 3 {
			b.roll++
			when := t.Add(time.Duration(i) * 3 * time.Minute)
			if year%4 == 0 {
				when = t.AddDate(0, 0, i/2)
			}
			b.picture(fmt.Sprintf("Bench/Post D/%d/DSC_%04d.JPG", year, b.roll), when, taken(12, when))
		}
	}
}

// everySecondYear since 2004, named by year alone.
func (b *bench) everySecondYear() {
	for year := 2004; year <= b.now.Year(); year += 2 {
		t := day("Post B", year, time.June, 20)
		plot := taken(2, t)
		if year == 2010 { // straightened in 2013, in a program that says so
			plot.Edited = time.Date(2013, time.February, 2, 19, 0, 0, 0, ranch.Zone)
		}
		b.picture(fmt.Sprintf("Bench/Post B/%d/plot.jpg", year), t, plot)
		b.picture(fmt.Sprintf("Bench/Post B/%d/landscape.jpg", year), t, taken(2, t))
	}
}

// changedCadence: yearly until 2012, then every third year.
func (b *bench) changedCadence() {
	for year := 2001; year <= b.now.Year(); year++ {
		if year > 2012 && (year-2012)%3 != 0 {
			continue
		}
		t := day("Post C", year, time.July, 2)
		b.picture(fmt.Sprintf("Bench/Post C/%s plot.jpg", t.Format(time.DateOnly)), t, taken(3, t))
		b.picture(fmt.Sprintf("Bench/Post C/%s landscape.jpg", t.Format(time.DateOnly)), t, taken(3, t))
	}
}

// springAndFall since 2006; now and then a visit took two days.
func (b *bench) springAndFall() {
	for year := 2006; year <= b.now.Year(); year++ {
		for _, t := range []time.Time{day("Spring Box", year, time.May, 4), day("Spring Box", year, time.October, 9)} {
			second := t
			if year%5 == 0 {
				second = t.AddDate(0, 0, 1)
			}
			b.picture("Gulch/Spring Box/"+t.Format(time.DateOnly)+"/plot.jpg", t, taken(4, t))
			b.picture("Gulch/Spring Box/"+t.Format(time.DateOnly)+"/landscape.jpg", second, taken(4, second))
		}
	}
}

// scannedPrints: prints of 1987, scanned in 2015, long before the yearly visits. The
// scanner's program wrote when it made the files, and not that they were taken then.
func (b *bench) scannedPrints() {
	scan := time.Date(2015, time.January, 20, 9, 0, 0, 0, ranch.Zone)
	for i, name := range []string{"plot", "landscape"} {
		when := scan.Add(time.Duration(i) * time.Minute)
		b.noise("Gulch/Old Fence/1987/"+name+".jpg", when, func(j []byte) ([]byte, error) { return exif.WithFileDate(j, when) })
	}
	for year := 2005; year <= b.now.Year(); year++ {
		t := day("Old Fence", year, time.June, 24)
		b.picture("Gulch/Old Fence/"+t.Format(time.DateOnly)+"/plot.jpg", t, taken(5, t))
		b.picture("Gulch/Old Fence/"+t.Format(time.DateOnly)+"/landscape.jpg", t, taken(5, t))
	}
}

// restaked: a site whose stake was lost, another put in its place, and a third
// that was given up.
func (b *bench) restaked() {
	visits := func(name string, site, first, last int) {
		for year := first; year <= min(last, b.now.Year()); year++ {
			t := day(name, year, time.June, 12)
			b.picture("Gulch/"+name+"/"+t.Format(time.DateOnly)+"/plot.jpg", t, taken(site, t))
			b.picture("Gulch/"+name+"/"+t.Format(time.DateOnly)+"/landscape.jpg", t, taken(site, t))
		}
	}
	written := time.Date(2016, time.January, 5, 9, 0, 0, 0, ranch.Zone)
	visits("Corner", 6, 2003, 2014)
	visits("Corner again", 7, 2015, 9999)
	b.file("Gulch/Corner again/site.toml", []byte("replaces = \"Corner\"\n"), written)
	visits("Far Tank", 8, 2003, 2012)
	b.file("Gulch/Far Tank/site.toml", []byte("retired = 2012-12-31\n"), written)
}

// burned: two seasons without visits, after a fire.
func (b *bench) burned() {
	for year := 2007; year <= b.now.Year(); year++ {
		if year == 2017 || year == 2018 {
			continue
		}
		t := day("Burn Stake", year, time.June, 28)
		b.picture("Ridge/Burn Stake/"+t.Format(time.DateOnly)+"/plot.jpg", t, taken(9, t))
		b.picture("Ridge/Burn Stake/"+t.Format(time.DateOnly)+"/landscape.jpg", t, taken(9, t))
	}
	b.file("Ridge/Burn Stake/site.toml", []byte("[[closed]]\nfrom   = 2016-08-20\nto     = 2018-10-31\nreason = \"fire\"\n"), time.Date(2018, time.March, 1, 9, 0, 0, 0, ranch.Zone))
}

// exports: pictures that went through a program, which kept nothing of the
// camera's record.
func (b *bench) exports() {
	for year := 2010; year <= b.now.Year(); year++ {
		t := day("Export", year, time.June, 15)
		for _, view := range []string{"plot", "north", "south"} {
			b.picture(fmt.Sprintf("Ridge/Salt Trough/%d/%s (1).jpg", year, view), t, nil)
		}
	}
}

// overNewYear: in the week about the new year, filed under the day.
func (b *bench) overNewYear() {
	for winter := 2009; winter <= b.now.Year(); winter++ {
		t := day("Drift", winter, time.December, 32)
		b.picture("Ridge/Drift Stake/"+t.Format(time.DateOnly)+"/landscape.jpg", t, taken(10, t))
	}
}

// moreViews: one picture until 2012, four since.
func (b *bench) moreViews() {
	for year := 2006; year <= b.now.Year(); year++ {
		t := day("Knoll", year, time.June, 21)
		views := []string{"plot"}
		if year > 2012 {
			views = []string{"plot", "landscape", "east", "west"}
		}
		for _, v := range views {
			b.picture("Ridge/Knoll/"+t.Format(time.DateOnly)+"/"+v+".jpg", t, taken(11, t))
		}
	}
}

// sharedNotes: one binder for all sites, scanned; later one note a year. In one
// pasture somebody keeps notes as well.
func (b *bench) sharedNotes() {
	b.file("2001-2015.pdf", []byte("%PDF-1.4\n% the binder, scanned\n%%EOF\n"), time.Date(2016, time.January, 9, 9, 0, 0, 0, ranch.Zone))
	for year := 2012; year <= b.now.Year(); year++ {
		b.file(fmt.Sprintf("Ridge/Ridge notes %d.txt", year), fmt.Appendf(nil, "The Ridge in %d: the road held.\n", year), time.Date(year, time.November, 1, 9, 0, 0, 0, ranch.Zone))
	}
	for year := 2016; year <= b.now.Year(); year++ {
		b.file(fmt.Sprintf("%d field notes.txt", year), fmt.Appendf(nil, "%s, %d: all sites, one page.\n", benchName, year), time.Date(year, time.October, 20, 9, 0, 0, 0, ranch.Zone))
	}
}

// drawRegular writes an archive without any surprise below dir: so many sites,
// ten to a pasture, each visited on one day of June in every year from first to
// last, with a plot picture, a landscape and a note.
func drawRegular(dir string, sites, first, last int) error {
	b := &bench{dir: dir, now: time.Date(last+1, time.January, 1, 0, 0, 0, 0, ranch.Zone)}
	for s := range sites {
		site := fmt.Sprintf("Pasture %d/Stake %d", s/10+1, s%10+1)
		for year := first; year <= last; year++ {
			t := day(site, year, time.June, 20)
			folder := site + "/" + t.Format(time.DateOnly)
			b.picture(folder+"/plot.jpg", t, taken(s, t))
			b.picture(folder+"/landscape.jpg", t, taken(s, t))
			b.file(folder+"/notes.txt", []byte("short grass at "+folder+", no weeds\n"), t)
		}
	}
	return b.err
}
