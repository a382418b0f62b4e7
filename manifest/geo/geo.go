// Package geo holds positions on the earth and how far they are apart. Begin with
// [Position] and [Distance]; [Units] prints what was measured.
//
// Positions are latitude and longitude on WGS 84, the system of GPS and of
// GPX 1.1; 180 and -180 are one meridian, and 0, 0 is no place. Distances are
// along the surface of its ellipsoid; height does not count, since a receiver's
// height is far less certain than its position.
package geo

import (
	"fmt"
	"math"
	"slices"
)

// Position is a point on WGS 84, in degrees, north and east positive.
type Position struct {
	Latitude  float64 `json:"latitude"`
	Longitude float64 `json:"longitude"`
}

// Valid reports whether the numbers can be a position.
func (p Position) Valid() bool {
	return math.Abs(p.Latitude) <= 90 && math.Abs(p.Longitude) <= 180 // false for NaN
}

// Told reports whether the numbers tell a place. Zeros for both are what a
// receiver without a position writes, and a form that was not filled in; there
// is no ranch in the Gulf of Guinea.
func (p Position) Told() bool { return p.Valid() && p != Position{} }

// String writes the position as a receiver shows it, to about a metre.
func (p Position) String() string { return fmt.Sprintf("%.5f, %.5f", p.Latitude, p.Longitude) }

// Middle is the median of positions, latitude and longitude each for itself, so
// that one taken from the truck moves nothing. Those on either side of the 180th
// meridian lie close by. The zero Position for none.
func Middle(of []Position) Position {
	if len(of) == 0 {
		return Position{}
	}
	lat, long := make([]float64, len(of)), make([]float64, len(of))
	for i, p := range of {
		lat[i] = p.Latitude
		long[i] = of[0].Longitude + math.Remainder(p.Longitude-of[0].Longitude, 360)
	}
	return Position{Median(lat), math.Remainder(Median(long), 360)}
}

// Median is the middle one of numbers, or halfway between the middle two. It
// sorts them.
func Median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// Fix is a position as a camera measured it.
type Fix struct {
	Position
	Error float64 // the error the camera stated, in meters; 0 where it stated none
}

// The ellipsoid of WGS 84 (NGA.STND.0036, table 3.1): half its long axis in
// meters, and its flattening.
const (
	axis       = 6378137.0
	flattening = 1 / 298.257223563
)

// Distance returns the length in meters of the shortest line between two
// positions on the ellipsoid, by the inverse formula of T. Vincenty ("Direct and
// inverse solutions of geodesics on the ellipsoid", Survey Review 23, 1975). It
// is good to a millimetre. Between points on nearly opposite sides of the earth
// the formula does not settle; there the result is within a hundredth of the
// truth, and no site is that far from its photos.
func Distance(a, b Position) float64 {
	const short = axis * (1 - flattening)
	rad := math.Pi / 180
	sinU1, cosU1 := reduced(a.Latitude * rad)
	sinU2, cosU2 := reduced(b.Latitude * rad)
	l := math.Remainder(b.Longitude-a.Longitude, 360) * rad
	lambda := l
	var sinS, cosS, s, cos2A, cos2M float64
	for range 100 {
		sinL, cosL := math.Sincos(lambda)
		sinS = math.Hypot(cosU2*sinL, cosU1*sinU2-sinU1*cosU2*cosL)
		if sinS == 0 {
			return 0 // one point
		}
		cosS = sinU1*sinU2 + cosU1*cosU2*cosL
		s = math.Atan2(sinS, cosS)
		sinA := cosU1 * cosU2 * sinL / sinS
		cos2A = 1 - sinA*sinA
		cos2M = 0 // along the equator
		if cos2A > 0 {
			cos2M = cosS - 2*sinU1*sinU2/cos2A
		}
		c := flattening / 16 * cos2A * (4 + flattening*(4-3*cos2A))
		next := l + (1-c)*flattening*sinA*(s+c*sinS*(cos2M+c*cosS*(2*cos2M*cos2M-1)))
		settled := math.Abs(next-lambda) < 1e-12
		lambda = next
		if settled {
			break
		}
		if math.Abs(lambda) > math.Pi { // nearly opposite: the sphere must do
			return axis * math.Acos(max(-1, min(1, sinU1*sinU2+cosU1*cosU2*math.Cos(l))))
		}
	}
	u2 := cos2A * (axis*axis - short*short) / (short * short)
	ka := 1 + u2/16384*(4096+u2*(-768+u2*(320-175*u2)))
	kb := u2 / 1024 * (256 + u2*(-128+u2*(74-47*u2)))
	delta := kb * sinS * (cos2M + kb/4*(cosS*(2*cos2M*cos2M-1)-
		kb/6*cos2M*(4*sinS*sinS-3)*(4*cos2M*cos2M-3)))
	return short * ka * (s - delta)
}

// reduced is the sine and cosine of the reduced latitude.
func reduced(latitude float64) (sin, cos float64) {
	sin, cos = math.Sincos(latitude)
	sin *= 1 - flattening
	n := math.Hypot(sin, cos)
	return sin / n, cos / n
}
