package years

import (
	"math"
	"testing"
)

// Arithmetic by hand: 350, 0 and 10 degrees have the mean 0, and the vectors'
// sum is (1+2cos10°)/3 long.
func TestCircular(t *testing.T) {
	deg := func(d ...float64) (f []float64) {
		for _, x := range d {
			f = append(f, x/360)
		}
		return f
	}
	mean, dev := circular(deg(350, 0, 10))
	r := (1 + 2*math.Cos(10*math.Pi/180)) / 3
	if d := math.Min(mean, 1-mean); d > 1e-9 || math.Abs(dev-math.Sqrt(-2*math.Log(r))/(2*math.Pi)) > 1e-9 {
		t.Errorf("mean %v deviation %v", mean, dev)
	}
	if mean, _ = circular(deg(80, 100)); math.Abs(mean-0.25) > 1e-9 {
		t.Errorf("mean of 80 and 100 degrees is %v of the circle", mean)
	}
	if _, dev = circular(deg(0, 180)); !math.IsInf(dev, 1) {
		t.Errorf("opposite directions deviate by %v", dev)
	}
}

// TestCircularAgainstTextbooks: both examples from memory; the mean and the
// length of the mean vector are given there to the digits held to here.
func TestCircularAgainstTextbooks(t *testing.T) {
	for _, c := range []struct {
		source       string
		degrees      []float64
		mean, within float64
		length       float64
	}{
		// Mardia, Statistics of Directional Data (1972), the roulette wheel's stops;
		// also in Mardia and Jupp, section 2.2.
		{"roulette", []float64{43, 45, 52, 61, 75, 88, 88, 279, 357}, 51, 0.5, 0.711},
		// Zar, Biostatistical Analysis, the trees' leaning (example 26.4 of the fourth
		// edition).
		{"trees", []float64{45, 55, 81, 96, 110, 117, 132, 154}, 99, 0.5, 0.82522},
	} {
		f := make([]float64, len(c.degrees))
		for i, d := range c.degrees {
			f[i] = d / 360
		}
		mean, deviation := circular(f)
		// Our deviation is sqrt(-2 ln R) as a fraction of the circle.
		length := math.Exp(-math.Pow(deviation*2*math.Pi, 2) / 2)
		if math.Abs(mean*360-c.mean) > c.within || math.Abs(length-c.length) > 0.0006 {
			t.Errorf("%s: mean %.2f, length %.5f; want %g and %g", c.source, mean*360, length, c.mean, c.length)
		}
	}
}
