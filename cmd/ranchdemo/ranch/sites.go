package ranch

import "sync"

// Site is one marked photo point. Whatever lasts there is in these fields or
// drawn from them, so that every year's pictures show the same place.
type Site struct {
	Pasture, Name string

	// Latitude and Longitude (WGS 84, degrees) lie on open short-grass plains east
	// of the Rocky Mountains; no ranch is meant by them.
	Latitude, Longitude float64
	Elevation           float64 // meters above sea level
	Bearing             int     // degrees from true north the landscape looks to

	landmark landmark
	far      farthing // what stands on the horizon
	stand    string   // how the notes find the stake
	soil     float64  // how much grass this ground makes of the same rain
	ground   rgb      // bare soil
	gravel   int      // stones in the plot
	sunLeft  bool     // morning light comes from the left of the view
	horizon  skyline
	back     func() *backdrop // worked out when a picture first needs it

	skipped, noLandscape, noNote, capGone int // years, 0 for never
}

// sites are the six of the ranch. Names and places are invented.
func sites(seed uint64) []*Site {
	s := []*Site{{
		Pasture: "North Flat", Name: "Windmill Stake 1",
		Latitude: 38.68127, Longitude: -103.10842, Elevation: 1347, Bearing: 297,
		landmark: windmill, far: elevator, soil: 1.0, ground: rgb{160, 138, 108}, gravel: 26,
		stand:   "T-post with orange cap, 30 paces east of the windmill",
		sunLeft: false, capGone: 2016,
	}, {
		Pasture: "North Flat", Name: "Tank Stake 2",
		Latitude: 38.67284, Longitude: -103.09366, Elevation: 1343, Bearing: 24,
		landmark: tank, far: shelterbelt, soil: 0.86, ground: rgb{172, 154, 126}, gravel: 20,
		stand:   "T-post with orange cap at the old exclosure corner, stock tank straight ahead",
		sunLeft: false, noLandscape: 2017,
	}, {
		Pasture: "Draw Pasture", Name: "Cottonwood Stake 3",
		Latitude: 38.65019, Longitude: -103.13125, Elevation: 1326, Bearing: 193,
		landmark: cottonwood, far: treeline, soil: 1.14, ground: rgb{146, 126, 100}, gravel: 12,
		stand:   "T-post with orange cap on the first bench above the draw, lone cottonwood in the picture",
		sunLeft: true, skipped: 2014,
	}, {
		Pasture: "Draw Pasture", Name: "Old Corral Stake 4",
		Latitude: 38.64306, Longitude: -103.11471, Elevation: 1331, Bearing: 148,
		landmark: corral, far: swells, soil: 0.92, ground: rgb{158, 134, 106}, gravel: 34,
		stand:   "T-post with orange cap, 20 paces north of the old corral",
		sunLeft: true, capGone: 2022,
	}, {
		Pasture: "Breaks Pasture", Name: "Playa Stake 5",
		Latitude: 38.62874, Longitude: -103.16238, Elevation: 1339, Bearing: 258,
		landmark: playa, far: farBreaks, soil: 0.95, ground: rgb{166, 142, 112}, gravel: 14,
		stand:   "T-post with orange cap 60 paces east of the playa, out of the mud",
		sunLeft: false, noNote: 2021,
	}, {
		Pasture: "Breaks Pasture", Name: "Rim Stake 6",
		Latitude: 38.62033, Longitude: -103.14817, Elevation: 1322, Bearing: 236,
		landmark: rim, far: breaks, soil: 0.82, ground: rgb{176, 140, 110}, gravel: 120,
		stand:   "T-post with orange cap beside the two-track, the notch in the rim of the breaks straight ahead",
		sunLeft: true,
	}}
	for _, site := range s {
		site.see(seed)
	}
	return s
}

// see gives a site what lasts there.
func (s *Site) see(seed uint64) {
	s.horizon = newSkyline(seed, s)
	s.back = sync.OnceValue(func() *backdrop { return newBackdrop(s) })
}

// Beside is another site, some way from this one.
func (s *Site) Beside(seed uint64, name string, north, east float64) *Site {
	o := *s
	o.Name, o.Latitude, o.Longitude = name, s.Latitude+north, s.Longitude+east
	o.see(seed)
	return &o
}
