// Package odd puts one oddity of each kind that real records have into a drawn
// ranch, and says what they are. Begin with [Make].
package odd

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/cmd/ranchdemo/ranch/exif"
)

// Oddity is one oddity, of a kind that real records have: what was done to the
// folder, and what whoever checks it is to find. Kind is empty where nothing may
// be found.
type Oddity struct {
	What        string // in words
	Kind        string // of the finding: "broken", "empty", …
	Site, Visit string // where it is to be found
	Note        bool   // worth knowing, and asks for nothing
	// Files are all that the finding is about, below the ranch. In the table
	// "2011/plot.jpg" is a file of the site's visit of that year, and
	// "Tank Stake 2:2011/plot.jpg" one of another site's.
	Files []string
	Says  string // the figure, or what is named, in the finding's words
}

// odd is an oddity, the year of its visit, and how it is made.
type odd struct {
	Oddity
	year int
	make func(o *oddities) error
}

// oddities puts odd things into a drawn ranch.
type oddities struct {
	r    *ranch.Ranch
	dir  string
	when time.Time // the time of every file it writes
}

func files(names ...string) []string { return names }

// The oddities. Each lies in a visit of its own, so that none explains another;
// years with a flaw have none.
func odds() []odd {
	const (
		windmill, tank, cottonwood = "Windmill Stake 1", "Tank Stake 2", "Cottonwood Stake 3"
		corral, playa, rim         = "Old Corral Stake 4", "Playa Stake 5", "Rim Stake 6"
	)
	return []odd{
		{Oddity{"a landscape of 2011 is cut short: the disk was full", "broken", windmill, "", false, files("2011/landscape.jpg"), "cut short"}, 2011,
			func(o *oddities) error { return o.cut(o.photo(windmill, 2011, "landscape")) }},
		{Oddity{"a screen picture of 2012 ends in the middle", "broken", tank, "", false, files("2012/screen.png"), "cut short"}, 2012,
			func(o *oddities) error { return o.cutPNG(tank, 2012) }},
		{Oddity{"a phone's picture of 2013 ends in the middle", "broken", tank, "", false, files("2013/telephone.heic"), "cut short"}, 2013,
			func(o *oddities) error { return o.cutHEIC(tank, 2013) }},
		{Oddity{"a second note of 2013 has nothing in it", "empty", corral, "", false, files("2013/remarks.txt"), "0 bytes"}, 2013,
			func(o *oddities) error { return o.write(o.r.Visit(corral, 2013).Folder()+"/remarks.txt", nil) }},
		{Oddity{"the landscape of 2016 was taken forty days after its plot", "misdated", cottonwood, "", false, files("2016/landscape.jpg"), "1 of its 2 dated photos"}, 2016,
			func(o *oddities) error {
				return o.retake(cottonwood, 2016, "landscape", func(s *exif.Shot) { s.Time = s.Time.AddDate(0, 0, 40) })
			}},
		{Oddity{"the camera's clock was 465 days ahead in 2012", "clock", playa, "", true, files("2012/landscape.jpg", "2012/plot.jpg"), "465 days ahead"}, 2012,
			func(o *oddities) error {
				return o.retakeBoth(playa, 2012, func(s *exif.Shot) { s.Time = s.Time.AddDate(0, 0, 465) })
			}},
		{Oddity{"the pictures of 2009 are prints that were scanned in 2015", "scan", rim, "", true, files("2009/landscape.jpg", "2009/plot.jpg"), "scanned or exported in 2015"}, 2009,
			func(o *oddities) error { return o.scan(rim, 2009) }},
		{Oddity{"the pictures of 2014 were exported without date or position", "", windmill, "", false, nil, ""}, 2014,
			func(o *oddities) error { return o.strip(windmill, 2014) }},
		{Oddity{"the pictures of 2018 and 2019 lie in each other's folder", "swapped", corral, "", false,
			files("2018/landscape.jpg", "2018/plot.jpg", "2019/landscape.jpg", "2019/plot.jpg"), "and those of 2019"}, 2018,
			func(o *oddities) error { return o.swap(corral, 2018, 2019) }},
		{Oddity{"the plot of 2017 was taken at Rim Stake 6", "elsewhere", playa, "", false, files("2017/plot.jpg"), "Rim Stake 6"}, 2017,
			func(o *oddities) error {
				there := o.r.Site(rim)
				return o.retake(playa, 2017, "plot", func(s *exif.Shot) { s.Lat, s.Lon = there.Latitude, there.Longitude })
			}},
		{Oddity{"a picture of 2010 lies under 2015 as well", "twice", cottonwood, "", false,
			files("2010/for the report.jpg", "2015/for the report.jpg"), "2015"}, 2010,
			func(o *oddities) error { return o.twice(cottonwood, 2010, 2015) }},
		{Oddity{"a landscape of Old Corral Stake 4, of 2012, was filed here in 2018 too", "twice", rim, "", false,
			files("2018/old corral.jpg", corral+":2012/landscape.jpg"), "Old Corral Stake 4"}, 2018,
			func(o *oddities) error {
				return o.copy(o.photo(corral, 2012, "landscape"), o.r.Visit(rim, 2018).Folder()+"/old corral.jpg")
			}},
		{Oddity{"a site.toml says the site was retired on 30 February", "card", "", "", false, files("North Flat/Tank Stake 2/site.toml"), "site.toml:2"}, 0,
			func(o *oddities) error {
				return o.write("North Flat/Tank Stake 2/site.toml", []byte("stand = \"at the tank\"\nretired = 2031-02-30\n"))
			}},
		{Oddity{"another has a key that means nothing", "card", "", "", false, files("Breaks Pasture/Playa Stake 5/site.toml"), "site.toml:2: baering"}, 0,
			func(o *oddities) error {
				return o.write("Breaks Pasture/Playa Stake 5/site.toml", []byte("stand = \"at the playa\"\nbaering = 140\n"))
			}},
		{Oddity{"every second year, and in 2017 a year late", "late", saltLick, "2017", true, nil, "due in 2016"}, 0, nil},
		{Oddity{"in 2019 the site was visited in November", "out of season", saltLick, "2019-11-19", true, nil, "days outside the season"}, 0, nil},
		{Oddity{"of 1987 there is only a print, scanned in 2015", "scan", saltLick, "1987", true, files("Breaks Pasture/Salt Lick Stake 7/1987/landscape.jpg"), "2015"}, 0, nil},
		{Oddity{"a stake was lost after 2012, and another driven beside it", "", gatePost + " again", "", false, nil, ""}, 0, nil},
		{Oddity{"and that one was given up after 2016", "", gatePost + " again", "", false, nil, ""}, 0, nil},
	}
}

// saltLick is the site that the last oddities are about. It is visited every
// second year; in 2021 it was closed after a fire, as its card says.
const (
	saltLick     = "Salt Lick Stake 7"
	saltLickCard = "[[closed]]\nfrom   = 2021-04-10\nto     = 2021-12-31\nreason = \"fire\"\n"
)

// gatePost is a site that another replaced, which was retired in its turn: two
// folders, which their cards explain.
const (
	gatePost     = "Gate Stake 8"
	gatePostCard = "replaces = \"" + gatePost + "\"\nretired  = 2016-12-31\n"
)

// Baseline is the year of a site that has a lone visit long before the others.
var Baseline = ranch.SiteYear{Pasture: "Breaks Pasture", Site: saltLick, Year: 1987}

// Closed is the year of a site that its card explains.
var Closed = ranch.SiteYear{Pasture: "Breaks Pasture", Site: saltLick, Year: 2021}

// Make puts the oddities into a ranch that was drawn below dir, and says what
// they are. The files it writes have the time when.
func Make(ctx context.Context, r *ranch.Ranch, dir string, when time.Time) ([]Oddity, error) {
	o := &oddities{r, dir, when}
	var all []Oddity
	for _, odd := range odds() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if odd.make != nil {
			if err := odd.make(o); err != nil {
				return nil, fmt.Errorf("making it so that %s: %w", odd.What, err)
			}
		}
		if odd.year != 0 {
			odd.Visit = r.Visit(odd.Site, odd.year).Time.Format(time.DateOnly)
		}
		odd.Files = o.resolved(odd.Site, odd.Files)
		all = append(all, odd.Oddity)
	}
	if err := o.drawSaltLick(ctx); err != nil {
		return nil, fmt.Errorf("drawing %s: %w", saltLick, err)
	}
	if err := o.drawGatePost(ctx); err != nil {
		return nil, fmt.Errorf("drawing %s: %w", gatePost, err)
	}
	return all, nil
}

// resolved makes paths of the table's short names.
func (o *oddities) resolved(site string, names []string) (paths []string) {
	for _, name := range names {
		site := site
		if other, rest, ok := strings.Cut(name, ":"); ok {
			site, name = other, rest
		}
		year, file, _ := strings.Cut(name, "/")
		if n, err := strconv.Atoi(year); err == nil {
			name = o.r.Visit(site, n).Folder() + "/" + file
		}
		paths = append(paths, name)
	}
	slices.Sort(paths)
	return paths
}

func (o *oddities) path(name string) string { return filepath.Join(o.dir, filepath.FromSlash(name)) }

func (o *oddities) photo(site string, year int, view string) string {
	return o.r.Visit(site, year).Folder() + "/" + view + ".jpg"
}

func (o *oddities) write(name string, b []byte) error {
	return ranch.WriteFile(o.path(name), b, o.when)
}

// cut leaves the first half of a file.
func (o *oddities) cut(name string) error {
	b, err := os.ReadFile(o.path(name))
	if err != nil {
		return err
	}
	return o.write(name, b[:len(b)/2])
}

func (o *oddities) copy(from, to string) error {
	b, err := os.ReadFile(o.path(from))
	if err != nil {
		return err
	}
	return o.write(to, b)
}

func (o *oddities) cutPNG(site string, year int) error {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 64, 48))); err != nil {
		return err
	}
	return o.write(o.r.Visit(site, year).Folder()+"/screen.png", b.Bytes()[:b.Len()*2/3])
}

// cutHEIC writes the beginning of a HEIF file (ISO/IEC 23008-12): its type, and
// a box of data that announces more than is there.
func (o *oddities) cutHEIC(site string, year int) error {
	b := binary.BigEndian.AppendUint32(nil, 24)
	b = append(b, "ftypheic\x00\x00\x00\x00mif1heic"...)
	b = binary.BigEndian.AppendUint32(b, 4096)
	b = append(b, "mdat"...)
	return o.write(o.r.Visit(site, year).Folder()+"/telephone.heic", append(b, make([]byte, 512)...))
}

// retake writes a picture of a visit again, with another record of the camera's.
func (o *oddities) retake(site string, year int, view string, change func(*exif.Shot)) error {
	v := o.r.Visit(site, year)
	plain, err := o.r.Plain(v, view)
	if err != nil {
		return err
	}
	s := v.Shot(o.r.Seed, view)
	change(&s)
	b, err := exif.With(plain, s)
	if err != nil {
		return err
	}
	return o.write(v.Folder()+"/"+view+".jpg", b)
}

func (o *oddities) retakeBoth(site string, year int, change func(*exif.Shot)) error {
	for _, view := range []string{"plot", "landscape"} {
		if err := o.retake(site, year, view, change); err != nil {
			return err
		}
	}
	return nil
}

// rewrite writes both pictures of a visit anew, from what they are without
// anything that a camera would have written.
func (o *oddities) rewrite(site string, year int, as func(i int, plain []byte) ([]byte, error)) error {
	v := o.r.Visit(site, year)
	for i, view := range []string{"plot", "landscape"} {
		b, err := o.r.Plain(v, view)
		if err == nil {
			b, err = as(i, b)
		}
		if err == nil {
			err = o.write(v.Folder()+"/"+view+".jpg", b)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (o *oddities) strip(site string, year int) error {
	return o.rewrite(site, year, func(_ int, plain []byte) ([]byte, error) { return plain, nil })
}

func (o *oddities) scan(site string, year int) error {
	return o.rewrite(site, year, func(i int, plain []byte) ([]byte, error) {
		return exif.WithScan(plain, time.Date(2015, time.February, 11, 10, 20+i, 0, 0, ranch.Zone))
	})
}

func (o *oddities) swap(site string, a, b int) error {
	for _, view := range []string{"plot", "landscape"} {
		one, two := o.path(o.photo(site, a, view)), o.path(o.photo(site, b, view))
		for _, step := range [][2]string{{one, one + "~"}, {two, one}, {one + "~", two}} {
			if err := os.Rename(step[0], step[1]); err != nil {
				return err
			}
		}
	}
	return nil
}

// twice files one year's plot under another year too. An export, it has no date
// that would say which of the two is right.
func (o *oddities) twice(site string, first, second int) error {
	b, err := o.r.Plain(o.r.Visit(site, first), "plot")
	if err != nil {
		return err
	}
	for _, year := range []int{first, second} {
		if err := o.write(o.r.Visit(site, year).Folder()+"/for the report.jpg", b); err != nil {
			return err
		}
	}
	return nil
}
