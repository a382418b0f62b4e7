package ranch

import "sync"

// Site is one marked photo point. Whatever lasts there is in these fields or
// drawn from them, so that every year's pictures show the same place.
type Site struct {
	Pasture, Name string

	// Latitude and Longitude (WGS 84, degrees) lie on open public range in the
	// northern Great Basin; no ranch is meant by them.
	Latitude, Longitude float64
	Elevation           float64 // metres above sea level
	Bearing             int     // degrees from true north the landscape looks to

	landmark landmark
	stand    string  // how the notes find the stake
	soil     float64 // how much grass this ground makes of the same rain
	ground   rgb     // bare soil
	gravel   int     // stones in the plot
	sunLeft  bool    // morning light comes from the left of the view
	horizon  skyline
	back     func() *backdrop // worked out when a picture first needs it

	skipped, noLandscape, noNote, capGone int // years, 0 for never
}

// sites are the six of the ranch. Names and places are invented.
func sites(seed uint64) []*Site {
	s := []*Site{{
		Pasture: "North Flat", Name: "Windmill Stake 1",
		Latitude: 41.41236, Longitude: -119.18412, Elevation: 1462, Bearing: 312,
		landmark: windmill, soil: 1.0, ground: rgb{172, 145, 116}, gravel: 130,
		stand:   "T-post with orange cap, 40 paces southeast of the windmill",
		sunLeft: false, capGone: 2016,
	}, {
		Pasture: "North Flat", Name: "Tank Stake 2",
		Latitude: 41.40391, Longitude: -119.16957, Elevation: 1455, Bearing: 18,
		landmark: tank, soil: 0.86, ground: rgb{180, 158, 132}, gravel: 90,
		stand:   "T-post with orange cap, inside the old exclosure corner, tank straight ahead",
		sunLeft: false, noLandscape: 2017,
	}, {
		Pasture: "Draw Pasture", Name: "Cottonwood Stake 3",
		Latitude: 41.38127, Longitude: -119.20718, Elevation: 1438, Bearing: 201,
		landmark: cottonwood, soil: 1.16, ground: rgb{150, 127, 103}, gravel: 60,
		stand:   "T-post with orange cap on the first bench above the draw, lone cottonwood in the picture",
		sunLeft: true, skipped: 2014,
	}, {
		Pasture: "Draw Pasture", Name: "Old Corral Stake 4",
		Latitude: 41.37408, Longitude: -119.19064, Elevation: 1447, Bearing: 155,
		landmark: corral, soil: 0.92, ground: rgb{164, 134, 106}, gravel: 110,
		stand:   "T-post with orange cap, 25 paces north of the old corral",
		sunLeft: true, capGone: 2022,
	}, {
		Pasture: "Calico Ridge", Name: "Juniper Stake 5",
		Latitude: 41.36014, Longitude: -119.23871, Elevation: 1604, Bearing: 265,
		landmark: juniper, soil: 0.95, ground: rgb{158, 118, 94}, gravel: 220,
		stand:   "T-post with orange cap on the ridge trail, lone juniper downslope",
		sunLeft: false, noNote: 2021,
	}, {
		Pasture: "Calico Ridge", Name: "Twin Buttes Stake 6",
		Latitude: 41.35172, Longitude: -119.22490, Elevation: 1589, Bearing: 228,
		landmark: buttes, soil: 0.82, ground: rgb{168, 122, 96}, gravel: 260,
		stand:   "T-post with orange cap beside the two-track, the twin buttes on the skyline",
		sunLeft: true,
	}}
	for i := range s {
		s[i].horizon = newSkyline(seed, s[i])
		s[i].back = sync.OnceValue(func() *backdrop { return newBackdrop(s[i]) })
	}
	return s
}
