package ranch

import (
	"math"
	"math/rand/v2"
	"time"

	"linecamp/cmd/ranchdemo/ranch/exif"
)

// Shot is the invented camera's record of one picture of a visit. Its
// position strays from the stake by a few meters, as such cameras do.
func (v *Visit) Shot(seed uint64, view string) exif.Shot {
	d := Random(seed, "shot", v.Site.Name, v.Year, view)
	s := exif.Shot{
		Make: "Longspur Optical", Model: "Pocket 8",
		Time: v.Time, Elevation: v.Site.Elevation + d.Float64()*8 - 4,
		Error: 3 + d.Float64()*4, Bearing: -1, Exposure: 250 + 50*uint32(d.IntN(6)),
		Title: v.Site.Name + ", " + view, Wide: width, Tall: height,
	}
	if v.Year >= 2017 {
		s.Model = "Pocket 12"
	}
	if view == "landscape" {
		s.Time = v.Time.Add(time.Duration(70+d.IntN(140)) * time.Second)
		s.Bearing = v.Site.Bearing
	}
	s.Lat, s.Lon = stray(d, v.Site, s.Error)
	return s
}

// stray is a point within the stated error of the stake.
func stray(d *rand.Rand, s *Site, meters float64) (lat, lon float64) {
	const perDegree = 111_200.0 // meters, near enough for a few of them
	sin, cos := math.Sincos(d.Float64() * 2 * math.Pi)
	r := meters * 0.8 * d.Float64()
	lat = s.Latitude + r*sin/perDegree
	lon = s.Longitude + r*cos/(perDegree*math.Cos(s.Latitude*math.Pi/180))
	return lat, lon
}
