package layout

import (
	"errors"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"linecamp/manifest/dates"
	"linecamp/manifest/within"
)

// today is the day the tests take place on.
var today = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

func common(t testing.TB) *Layout {
	t.Helper()
	l, err := New("", nil, today)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// say writes a Place in short: pasture | site | base | date | season | view.
func say(p Place) string {
	date := p.Date
	if date == "" && p.Year != 0 {
		date = dates.Format(p.Year, 1, 1)[:4]
		if p.To != 0 {
			date += "-" + dates.Format(p.To, 1, 1)[:4]
		}
	}
	if p.Unfiled {
		return strings.Join([]string{"unfiled", date, p.Season, p.View}, " | ")
	}
	return strings.Join([]string{p.Pasture, p.Site, p.Base, date, p.Season, p.View}, " | ")
}

// The rows are common practice: how people are known to name such folders. No
// source.
var commonPractice = []struct{ path, want string }{
	// {pasture}/{site}/{date}
	{"North/Windmill/2019-06-21/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/20190621/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019_06_21/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019.6.21/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019 06 21/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019-06-21 north side/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019-06-21/plot.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | plot"},
	{"North/Windmill/2019-06-21/plot/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | plot"},
	{"North/Windmill/2019-06-21/100ABCDE/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019-06-21/DCIM/100ABCDE/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/June 21, 2019/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/21 June 2019/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/06-21-2019/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/21.6.2019/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/06-07-2019/a.jpg", "North | Windmill | North/Windmill | 2019 |  | untold"}, // June 7 or July 6
	{"North/Windmill/6-21-19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/06_21_19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/6.21.2019/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/06 21 2019/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/06 21 19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/06212018/a.jpg", "North | Windmill | North/Windmill | 2018-06-21 |  | untold"},
	{"North/Windmill/062119/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/6-21-19 north side/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/05-05-19/a.jpg", "North | Windmill | North/Windmill |  |  | untold"}, // or 2005
	{"North/Windmill/5-5-19/a.jpg", "North | Windmill | North/Windmill | 2019-05-05 |  | untold"},
	{"North/Windmill/'14/a.jpg", "North | Windmill | North/Windmill | 2014 |  | untold"},
	{"North/Windmill/’14/a.jpg", "North | Windmill | North/Windmill | 2014 |  | untold"},
	{"North/Windmill/June '14/a.jpg", "North | Windmill | North/Windmill | 2014 | june | untold"},
	{"North/Windmill/fall '14/a.jpg", "North | Windmill | North/Windmill | 2014 | fall | untold"},
	{"North/Windmill/'87/a.jpg", "North | Windmill | North/Windmill | 1987 |  | untold"},
	{"North/Windmill/Jun 21 19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/Jun 21, 19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/June 21 '19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/21-Jun-19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/6-21-27/a.jpg", "North | Windmill | North/Windmill | 2027-06-21 |  | untold"}, // next year
	{"North/Windmill/6-21-28/a.jpg", "North | Windmill | North/Windmill | 1928-06-21 |  | untold"},
	{"North/Windmill/99-06-21/a.jpg", "North | Windmill | North/Windmill | 1999-06-21 |  | untold"},
	{"North/Windmill/2019/6-21/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2019/6-21-19/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"North/Windmill/2006/06-07-06/a.jpg", "North | Windmill | North/Windmill | 2006 |  | untold"},
	{"6-21-19/North/Windmill/a.jpg", "North | Windmill |  | 2019-06-21 |  | untold"},
	{"North/Windmill/6-21-19 landscape.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | landscape"},
	{"North/Windmill/6-21-19-4/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/13-13-19/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/June 19/a.jpg", "unfiled |  |  | untold"},
	{"North/Stake 3 6-21-19/a.jpg", "unfiled |  |  | untold"},
	{"North/Bob's 14/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/Photos 2019/a.jpg", "North | Windmill | North/Windmill | 2019 |  | untold"},
	{"Ranch/North/Windmill/2019/a.jpg", "Ranch/North | Windmill | Ranch/North/Windmill | 2019 |  | untold"},
	// {pasture}/{site}/{year}, {site}/{year}
	{"North/Windmill/2019/IMG_0001.JPG", "North | Windmill | North/Windmill | 2019 |  | untold"},
	{"Windmill/2019/IMG_0001.JPG", " | Windmill | Windmill | 2019 |  | untold"},
	{"Windmill/2019/2019-06-21/a.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/2019/06/21/a.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/2019/06-21/a.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/2019/0621/a.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/2019/06/a.jpg", " | Windmill | Windmill | 2019 | june | untold"},
	{"Windmill/2019/06 June/a.jpg", " | Windmill | Windmill | 2019 | june | untold"},
	{"Windmill/2019/June/a.jpg", " | Windmill | Windmill | 2019 | june | untold"},
	{"Windmill/2019-06/a.jpg", " | Windmill | Windmill | 2019 | june | untold"},
	{"Windmill/2019-06/2019-06-21.jpg", " | Windmill | Windmill | 2019-06-21 | june | untold"},
	{"Windmill/2019-06/2019-07-21.jpg", " | Windmill | Windmill | 2019 | june | untold"}, // folder outranks name
	{"Windmill/2019/2019-06-21 plot.jpg", " | Windmill | Windmill | 2019-06-21 |  | plot"},
	{"Windmill/2019/2018-06-21 plot.jpg", " | Windmill | Windmill | 2019 |  | plot"}, // folder outranks name
	{"Windmill/2019/scans/plot.jpg", " | Windmill | Windmill | 2019 |  | plot"},
	{"Windmill/2001-2015/2003.jpg", " | Windmill | Windmill | 2003 |  | untold"},
	{"Windmill/2001-2015/a.jpg", " | Windmill | Windmill | 2001-2015 |  | untold"},
	// {year}/{pasture}/{site}, {year}/{site}: a date above, so the base is the working folder
	{"2019/North/Windmill/IMG_0001.JPG", "North | Windmill |  | 2019 |  | untold"},
	{"2019/Windmill/IMG_0001.JPG", " | Windmill |  | 2019 |  | untold"},
	{"2019/Windmill/100ABCDE/IMG_0001.JPG", " | Windmill |  | 2019 |  | untold"},
	{"2019/North/Windmill/2019-06-21/a.jpg", "North | Windmill |  | 2019-06-21 |  | untold"},
	{"2019/North/Windmill/plot/a.jpg", "North | Windmill |  | 2019 |  | plot"},
	{"2019/North/Windmill/north/a.jpg", "North | Windmill |  | 2019 |  | north"},
	{"2019/06/Windmill/a.jpg", " | Windmill |  | 2019 | june | untold"},
	{"2019/Spring/North/Windmill/a.jpg", "North | Windmill |  | 2019 | spring | untold"},
	{"2019/North/Spring/a.jpg", "North | Spring |  | 2019 |  | untold"}, // a spring is a place as well
	{"2019-06-21/North/Windmill/a.jpg", "North | Windmill |  | 2019-06-21 |  | untold"},
	{"2019/a.jpg", "unfiled | 2019 |  | untold"},
	{"2019/100ABCDE/IMG_0001.JPG", "unfiled | 2019 |  | untold"},
	// seasons
	{"North/Windmill/2019 spring/a.jpg", "North | Windmill | North/Windmill | 2019 | spring | untold"},
	{"North/Windmill/fall 2019/a.jpg", "North | Windmill | North/Windmill | 2019 | fall | untold"},
	{"North/Windmill/2019_Autumn/a.jpg", "North | Windmill | North/Windmill | 2019 | fall | untold"},
	{"North/Windmill/2019/Spring/a.jpg", "North | Windmill | North/Windmill | 2019 | spring | untold"},
	{"North/Windmill/2019/Fall/2019-10-02 plot.jpg", "North | Windmill | North/Windmill | 2019-10-02 | fall | plot"},
	{"2019 spring/North/Windmill/a.jpg", "North | Windmill |  | 2019 | spring | untold"},
	{"Spring/2019/a.jpg", " | Spring | Spring | 2019 |  | untold"},
	{"Spring Creek/2019/a.jpg", " | Spring Creek | Spring Creek | 2019 |  | untold"},
	// dates in file names
	{"North/Windmill/2019-06-21 landscape.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | landscape"},
	{"Windmill/20190621_plot.JPG", " | Windmill | Windmill | 2019-06-21 |  | plot"},
	{"Windmill/IMG_20190621_101112.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/PXL_20190621_101112345.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/20190621T101112.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/20190621101112.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/2019-06-21 10.11.12.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/plot/2019-06-21.jpg", " | Windmill | Windmill | 2019-06-21 |  | plot"},
	{"Windmill/DCIM/100ABCDE/2019-06-21.jpg", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Ranch/North/2019-06-21.jpg", "Ranch | North | Ranch/North | 2019-06-21 |  | untold"},
	{"Windmill/2019 landscape.jpg", " | Windmill | Windmill | 2019 |  | landscape"},
	{"Windmill/landscape 2019 spring.jpg", " | Windmill | Windmill | 2019 | spring | landscape"},
	{"Windmill/2019_01.jpg", " | Windmill | Windmill | 2019 |  | untold"},
	{"Windmill/2019-01.jpg", " | Windmill | Windmill | 2019 |  | untold"},
	// numbers that are no dates
	{"Windmill/IMG_2019.JPG", "unfiled |  |  | untold"},
	{"Windmill/DSC_2012 landscape.JPG", "unfiled |  |  | landscape"},
	{"Windmill/P1012019.JPG", "unfiled |  |  | untold"},
	{"Windmill/100_2019.JPG", "unfiled |  |  | untold"},
	{"Windmill/IMG_2019 (1).JPG", "unfiled |  |  | untold"},
	{"Windmill/IMG_2019-06-21.JPG", " | Windmill | Windmill | 2019-06-21 |  | untold"},
	{"Windmill/Jun_2019.JPG", " | Windmill | Windmill | 2019 | june | untold"},
	{"North/Windmill/2019-13-40/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/2019-02-29/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/2020-02-29/a.jpg", "North | Windmill | North/Windmill | 2020-02-29 |  | untold"},
	{"North/Windmill/20191340/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/1849/a.jpg", "unfiled |  |  | untold"},
	{"North/Windmill/1850/a.jpg", "North | Windmill | North/Windmill | 1850 |  | untold"},
	{"North/Windmill/2027/a.jpg", "North | Windmill | North/Windmill | 2027 |  | untold"},
	{"North/Windmill/2028/a.jpg", "unfiled |  |  | untold"},
	{"stake 2012m/2019/a.jpg", " | stake 2012m | stake 2012m | 2019 |  | untold"},
	{"stake 2012m/a.jpg", "unfiled |  |  | untold"},
	{"Stake 5 (est. 2012)/2019/a.jpg", " | Stake 5 (est. 2012) | Stake 5 (est. 2012) | 2019 |  | untold"},
	{"2012 Fence Line/2019/a.jpg", " | 2012 Fence Line | 2012 Fence Line | 2019 |  | untold"},
	{"2015 burn/Windmill/2019/a.jpg", "2015 burn | Windmill | 2015 burn/Windmill | 2019 |  | untold"},
	{"North/Windmill/2019 after fire/a.jpg", "North | Windmill | North/Windmill | 2019 |  | untold"},
	{"North/Windmill/2019 after fire/2019-06-21/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
	{"Windmill 2019/a.jpg", "unfiled |  |  | untold"},
	{"640ACRES/2019/a.jpg", " | 640ACRES | 640ACRES | 2019 |  | untold"},
	{"640ACRES/2019-06-21.jpg", " | 640ACRES | 640ACRES | 2019-06-21 |  | untold"},
	// no site by itself
	{"a.jpg", "unfiled |  |  | untold"},
	{"2019-06-21.jpg", "unfiled | 2019-06-21 |  | untold"},
	{"North/Windmill/IMG_0001.JPG", "unfiled |  |  | untold"},
	{"North/2019 field notes.pdf", "unfiled | 2019 |  | "},
	{"North/2001-2015.pdf", "unfiled | 2001-2015 |  | "},
	{"North/2001–2015.pdf", "unfiled | 2001-2015 |  | "},
	{"North/Windmill/2019-06-21 notes.txt", "unfiled | 2019-06-21 |  | "},
	{"DCIM/100ABCDE/IMG_0001.JPG", "unfiled |  |  | untold"},
	// views
	{"W/2019/close-up.jpg", " | W | W | 2019 |  | plot"},
	{"W/2019/Close Up.jpg", " | W | W | 2019 |  | plot"},
	{"W/2019/GROUND.JPG", " | W | W | 2019 |  | plot"},
	{"W/2019/horizon_2.jpg", " | W | W | 2019 |  | landscape"},
	{"W/2019/looking NE.jpg", " | W | W | 2019 |  | northeast"},
	{"W/2019/north-east.jpg", " | W | W | 2019 |  | northeast"},
	{"W/2019/n.jpg", " | W | W | 2019 |  | north"},
	{"W/2019/plotter.jpg", " | W | W | 2019 |  | untold"},
	{"W/2019/Bob's photo.jpg", " | W | W | 2019 |  | untold"},
	{"W/2019/plot north.jpg", " | W | W | 2019 |  | plot"},
	{"W/2019/landscape/plot.jpg", " | W | W | 2019 |  | plot"}, // the name outranks the folder
	{"North Stake/2019/North Stake 1.jpg", " | North Stake | North Stake | 2019 |  | untold"},
	{"North Stake/2019/North Stake south.jpg", " | North Stake | North Stake | 2019 |  | south"},
	{"North/Windmill/2019/North Windmill 1.jpg", "North | Windmill | North/Windmill | 2019 |  | untold"},
	{"North/Windmill/2019/north.jpg", "North | Windmill | North/Windmill | 2019 |  | north"},
	// awkward names
	{"Nord\xe9/Caf\xe9/2019/a\xff.jpg", "Nord\xe9 | Caf\xe9 | Nord\xe9/Caf\xe9 | 2019 |  | untold"},
	{"A\nB/C\nD/2019/g\nh.jpg", "A\nB | C\nD | A\nB/C\nD | 2019 |  | untold"},
	{"Pâturage/Éolienne/2019/plot.jpg", "Pâturage | Éolienne | Pâturage/Éolienne | 2019 |  | plot"},
	{"\U0001F33E/\U0001F404/2019/plot.jpg", "\U0001F33E | \U0001F404 | \U0001F33E/\U0001F404 | 2019 |  | plot"},
	{"CON/aux./2019/nul.jpg", "CON | aux. | CON/aux. | 2019 |  | untold"},
	{" a / b /2019/c.jpg", " a  |  b  |  a / b  | 2019 |  | untold"},
	{"'q'/\"q\"/2019/c.jpg", "'q' | \"q\" | 'q'/\"q\" | 2019 |  | untold"},
	{"W/2019年06月21日/a.jpg", "unfiled |  |  | untold"},
}

func TestUnderstand(t *testing.T) {
	l := common(t)
	for _, c := range commonPractice {
		if got := say(l.Understand(c.path)); got != c.want {
			t.Errorf("%q\n got %s\nwant %s", c.path, got, c.want)
		}
	}
}

func TestPattern(t *testing.T) {
	for _, c := range []struct{ pattern, path, want string }{
		{"{pasture}/{site}/{date}", "North/Windmill/2019-06-21/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | untold"},
		{"{pasture}/{site}/{date}", "North/Windmill/2019-06-21 windy/plot/a.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | plot"},
		{"{pasture}/{site}/{date}", "North/Windmill/2019/100ABCDE/a.jpg", "North | Windmill | North/Windmill | 2019 |  | untold"},
		{"{pasture}/{site}/{date}", "North/Windmill/misc/a.jpg", "unfiled |  |  | untold"},
		{"{pasture}/{site}/{date}", "North/Windmill/2019-06-21.jpg", "unfiled | 2019-06-21 |  | untold"},
		{"{pasture}/{site}/{date}", "North/Windmill/2019-13-40/a.jpg", "unfiled |  |  | untold"},
		{"{pasture}/{site}/{date}", "a.jpg", "unfiled |  |  | untold"},
		{"{pasture}/{year}/{site}", "North/2019/Windmill/a.jpg", "North | Windmill |  | 2019 |  | untold"},
		{"{pasture}/{site} {year}", "North/Windmill 2019/a.jpg", "North | Windmill |  | 2019 |  | untold"},
		{"{site} {date}", "Stake 3 2019-06-21/a.jpg", " | Stake 3 |  | 2019-06-21 |  | untold"},
		{"{site} {date}", "Stake 3 2019-02-30/a.jpg", "unfiled |  |  | untold"},
		{"{date} {site}", "2019-06-21 Stake 3/a.jpg", " | Stake 3 |  | 2019-06-21 |  | untold"},
		{"Monitoring/{*}/{site}/{view}/{year}", "Monitoring/x/Windmill/gate/2019/a.jpg", " | Windmill | Monitoring/x/Windmill | 2019 |  | gate"},
		{"Monitoring/{*}/{site}/{view}/{year}", "Other/x/Windmill/gate/2019/a.jpg", "unfiled |  |  | untold"},
		{"{site}/{year} {season}", "Windmill/2019 spring/a.jpg", " | Windmill | Windmill | 2019 | spring | untold"},
		{"{site}/{year} {season}", "Windmill/2019 June/a.jpg", " | Windmill | Windmill | 2019 | june | untold"},
		{"{site}/{year} {season}", "Windmill/2019 storm/a.jpg", "unfiled |  |  | untold"},
		{"{pasture}/{site}", "North/Windmill/a.jpg", "North | Windmill | North/Windmill |  |  | untold"},
		{"{pasture}/{site}", "North/Windmill/2019-06-21 plot.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | plot"},
		{"{pasture}/{site}", "North/Windmill/2019/2019-06-21 plot.jpg", "North | Windmill | North/Windmill | 2019-06-21 |  | plot"},
		{"{pasture}/{site} {date} {view}.*", "North/Windmill 2019-06-21 plot.jpg", "North | Windmill |  | 2019-06-21 |  | plot"},
		{"{pasture}/{site} {date} {view}.*", "North/Windmill.jpg", "unfiled |  |  | untold"},
		{"{site}_{date}.*", "Windmill_20190621.jpg", " | Windmill |  | 2019-06-21 |  | untold"},
		{"{site}/{date}_{view}.*", "Windmill/20190621_plot.jpg", " | Windmill | Windmill | 2019-06-21 |  | plot"},
		{"{site}/a.b (c)/{year}", "W/a.b (c)/2019/x.jpg", " | W | W | 2019 |  | untold"},
		{"{site}/a.b (c)/{year}", "W/aXb (c)/2019/x.jpg", "unfiled |  |  | untold"},
	} {
		l, err := New(c.pattern, nil, today)
		if err != nil {
			t.Errorf("%s: %v", c.pattern, err)
			continue
		}
		if got := say(l.Understand(c.path)); got != c.want {
			t.Errorf("%s: %q\n got %s\nwant %s", c.pattern, c.path, got, c.want)
		}
	}
}

func TestPatternErrors(t *testing.T) {
	for pattern, want := range map[string]string{
		"{pasture}/{date}":     "no {site}",
		"{pasture}{site}":      "needs some text between",
		"{site}/{stake}":       "{stake} is none of",
		"{site}/{date}/{site}": "{site} is there twice",
		"{site}/{date":         "has no partner",
		"{site}/date}":         "has no partner",
		"{{site}}":             "has no partner",
		"/{site}":              "element 1 is empty",
		"{site}/":              "element 2 is empty",
		"{site}//{date}":       "element 2 is empty",
		"../{site}":            "element 1 is empty",
		"{site}.*/{date}":      "only the last element",
	} {
		_, err := New(pattern, nil, today)
		if !errors.Is(err, ErrPattern) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one with %q", pattern, err, want)
		}
	}
}

func TestOwnViews(t *testing.T) {
	l, err := New("", map[string][]string{"gate": {"main gate", "tor"}, "plot": {"quadrat"}}, today)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"main gate.jpg": "gate", "Tor_1.jpg": "gate", "gate north.jpg": "gate", "quadrat 2.jpg": "plot",
		"plot.jpg": "plot", "horizon.jpg": "landscape", "gateway.jpg": Untold,
	} {
		if got := l.Understand("W/2019/" + name).View; got != want {
			t.Errorf("%s: view %q, want %q", name, got, want)
		}
	}
}

func TestRangeOnlyInNotes(t *testing.T) {
	p := common(t).Understand("2001-2015.pdf")
	if p.Year != 2001 || p.To != 2015 || !p.Unfiled {
		t.Errorf("%+v", p)
	}
}

// sound checks what must hold of every Place, whatever the path.
func sound(t interface{ Fatalf(string, ...any) }, path string, p Place) {
	if p.Unfiled != (p.Site == "") {
		t.Fatalf("%q: unfiled %v with site %q", path, p.Unfiled, p.Site)
	}
	if p.Base != "" && !within.Below(path, p.Base) {
		t.Fatalf("%q: does not lie below its base %q", path, p.Base)
	}
	if p.Year != 0 && (p.Year < dates.FirstYear || p.Year > today.Year()+1) {
		t.Fatalf("%q: year %d", path, p.Year)
	}
	if p.To != 0 && p.To <= p.Year {
		t.Fatalf("%q: range %d to %d", path, p.Year, p.To)
	}
	if p.Date != "" {
		if len(p.Date) != 10 || dates.Number(p.Date[:4]) != p.Year || !dates.IsDay(p.Year, dates.Number(p.Date[5:7]), dates.Number(p.Date[8:])) {
			t.Fatalf("%q: date %q in %d", path, p.Date, p.Year)
		}
	}
}

func TestUnderstandAnything(t *testing.T) {
	l := common(t)
	part := rapid.OneOf(
		rapid.SampledFrom([]string{"North", "Windmill", "2019", "2019-06-21", "20190621", "spring", "2019 spring", "plot", "100ABCDE", "DCIM",
			"2001-2015", "06", "21", "June", "2019-13-40", "IMG_2019", "n", "2012 Fence", "Windmill 2019"}),
		rapid.StringN(1, 12, 40))
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(part, 1, 7).Draw(t, "parts")
		path := strings.Join(parts, "/") + rapid.SampledFrom([]string{".jpg", ".txt", ""}).Draw(t, "ext")
		p := l.Understand(path)
		sound(t, path, p)
		if p != l.Understand(path) {
			t.Fatalf("%q: understood in two ways", path)
		}
	})
}

func FuzzUnderstand(f *testing.F) {
	for _, c := range commonPractice {
		f.Add(c.path)
	}
	f.Add("")
	f.Add("/")
	f.Add("\xff/\x00//.jpg")
	l := common(f)
	f.Fuzz(func(t *testing.T, path string) { sound(t, path, l.Understand(path)) })
}

func FuzzLayout(f *testing.F) {
	f.Add("{pasture}/{site}/{date}", "North/Windmill/2019-06-21/a.jpg")
	f.Add("{pasture}/{site} {date} {view}.*", "North/Windmill 2019-06-21 plot.jpg")
	f.Add("{*}x{site}/{year} {season}", "axb/2019 fall/c.jpg")
	f.Add("{", "")
	f.Fuzz(func(t *testing.T, pattern, path string) {
		l, err := New(pattern, nil, today)
		if err != nil {
			if !errors.Is(err, ErrPattern) || utf8.ValidString(pattern) && !utf8.ValidString(err.Error()) {
				t.Fatalf("%q: %v", pattern, err)
			}
			return
		}
		sound(t, path, l.Understand(path))
	})
}

func BenchmarkUnderstand(b *testing.B) {
	l := common(b)
	for b.Loop() {
		f := l.Folder("North/Windmill/2019-06-21")
		for _, name := range []string{"IMG_0001.JPG", "plot.jpg", "landscape 2.jpg", "field notes.txt"} {
			f.File(name)
		}
	}
}
