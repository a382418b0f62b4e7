package intake

import "linecamp/manifest/geo"

// meters is the distance between two spots.
func meters(a, b spot) float64 {
	return geo.Distance(geo.Position{Latitude: a.lat, Longitude: a.lon}, geo.Position{Latitude: b.lat, Longitude: b.lon})
}

// middle is the median of spots. Its error is the median of theirs.
func middle(spots []spot) spot {
	var all []geo.Position
	var within []float64
	for _, s := range spots {
		if s.known {
			all, within = append(all, geo.Position{Latitude: s.lat, Longitude: s.lon}), append(within, s.within)
		}
	}
	if len(all) == 0 {
		return spot{}
	}
	m := geo.Middle(all)
	return spot{m.Latitude, m.Longitude, geo.Median(within), true}
}
