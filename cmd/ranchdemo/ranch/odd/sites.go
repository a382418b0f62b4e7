package odd

import (
	"context"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/cmd/ranchdemo/ranch/exif"
)

// newSite is a site of the oddities' own, some way from the rim.
func (o *oddities) newSite(name string, north, east float64) *ranch.Site {
	return o.r.Site("Rim Stake 6").Beside(o.r.Seed, name, north, east)
}

// visitTo draws a visit to such a site on the round of a year; change may move it.
func (o *oddities) visitTo(ctx context.Context, s *ranch.Site, year int, change func(*ranch.Visit)) error {
	v := *o.r.Visit("Rim Stake 6", year)
	v.Site = s
	v.Time = v.Time.Add(70 * time.Minute)
	if change != nil {
		change(&v)
	}
	return o.r.DrawVisit(ctx, &v, func(name string, b []byte, when time.Time, _ bool) error {
		return ranch.WriteFile(o.path(name), b, when)
	})
}

// drawSaltLick draws the seventh site: every second year, 2017 for 2016, a closure,
// and one print of long ago.
func (o *oddities) drawSaltLick(ctx context.Context) error {
	s := o.newSite(saltLick, -0.0082, 0.0061)
	years := []int{2010, 2012, 2014, 2017, 2019}
	for year := 2023; o.r.Visit("Rim Stake 6", year) != nil; year += 2 {
		years = append(years, year)
	}
	for _, year := range years {
		err := o.visitTo(ctx, s, year, func(v *ranch.Visit) {
			if year == 2019 {
				v.Time = time.Date(2019, time.November, 19, 10, 5, 0, 0, ranch.Zone)
			}
		})
		if err != nil {
			return err
		}
	}
	print := *o.r.Visit("Rim Stake 6", 2011)
	print.Site = s
	b, err := o.r.Plain(&print, "landscape")
	if err == nil {
		b, err = exif.WithScan(b, time.Date(2015, time.February, 11, 10, 30, 0, 0, ranch.Zone))
	}
	if err == nil {
		err = o.write(s.Pasture+"/"+s.Name+"/1987/landscape.jpg", b)
	}
	if err != nil {
		return err
	}
	return o.write(s.Pasture+"/"+s.Name+"/site.toml", []byte(saltLickCard))
}

// drawGatePost draws a stake, and the one that replaced it.
func (o *oddities) drawGatePost(ctx context.Context) error {
	first, second := o.newSite(gatePost, 0.0051, 0.0049), o.newSite(gatePost+" again", 0.0053, 0.0046)
	for year := 2010; year <= 2016; year++ {
		s := first
		if year > 2012 {
			s = second
		}
		if err := o.visitTo(ctx, s, year, nil); err != nil {
			return err
		}
	}
	return o.write(second.Pasture+"/"+second.Name+"/site.toml", []byte(gatePostCard))
}
