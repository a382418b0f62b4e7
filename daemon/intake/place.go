package intake

import (
	"math"
	"slices"
)

// earth is the mean radius of WGS 84's ellipsoid in metres. Over the few
// hundred metres that matter here, a sphere is wrong by half a percent at
// most.
const earth = 6_371_008.8

// metres is the distance between two spots along a great circle (haversine
// formula).
func metres(a, b spot) float64 {
	rad := math.Pi / 180
	dlat, dlon := (b.lat-a.lat)*rad, (b.lon-a.lon)*rad
	h := math.Pow(math.Sin(dlat/2), 2) + math.Cos(a.lat*rad)*math.Cos(b.lat*rad)*math.Pow(math.Sin(dlon/2), 2)
	return 2 * earth * math.Asin(math.Min(1, math.Sqrt(h)))
}

// middle is the median of spots, coordinate by coordinate, so that one picture
// taken from the truck moves nothing. Its error is the median of theirs.
func middle(spots []spot) spot {
	var lat, lon, within []float64
	for _, s := range spots {
		if s.known {
			lat, lon, within = append(lat, s.lat), append(lon, s.lon), append(within, s.within)
		}
	}
	if len(lat) == 0 {
		return spot{}
	}
	// Either side of the 180th meridian lies close by.
	for i := range lon {
		if lon[i]-lon[0] > 180 {
			lon[i] -= 360
		} else if lon[0]-lon[i] > 180 {
			lon[i] += 360
		}
	}
	m := median(lon)
	if m > 180 {
		m -= 360
	} else if m < -180 {
		m += 360
	}
	return spot{median(lat), m, median(within), true}
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}
