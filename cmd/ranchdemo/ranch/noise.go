package ranch

// noise is a lattice of random heights, repeated; between its points the height
// is eased so that no lattice shows. One table per site keeps a place itself.
type noise struct{ v [256 * 256]float32 }

func newNoise(seed uint64, use ...any) *noise {
	d := Random(seed, append([]any{"noise"}, use...)...)
	n := new(noise)
	for i := range n.v {
		n.v[i] = d.Float32()
	}
	return n
}

// at is the height at a point, 0 to 1.
func (n *noise) at(x, y float64) float64 {
	const far = 1 << 16 // a multiple of the table that makes every x positive
	x, y = x+far, y+far
	ix, iy := int(x), int(y)
	tx, ty := float32(x-float64(ix)), float32(y-float64(iy))
	tx, ty = tx*tx*(3-2*tx), ty*ty*(3-2*ty)
	x0, y0 := ix&255, (iy&255)<<8
	x1, y1 := (x0+1)&255, (y0+256)&0xff00
	a, b := n.v[y0|x0], n.v[y0|x1]
	c, d := n.v[y1|x0], n.v[y1|x1]
	top := a + (b-a)*tx
	return float64(top + (c+(d-c)*tx-top)*ty)
}

// sum layers octaves, each half as high, twice as fine, and turned against the
// last so that their lattices never line up; 0 to 1.
func (n *noise) sum(x, y float64, octaves int) float64 {
	h, amp, total := 0.0, 1.0, 0.0
	for range octaves {
		h += amp * n.at(x, y)
		total += amp
		amp /= 2
		x, y = x*1.66-y*1.16+17.1, x*1.16+y*1.66+5.3
	}
	return h / total
}

// step eases from 0 at lo to 1 at hi.
func step(lo, hi, x float64) float64 {
	t := min(max((x-lo)/(hi-lo), 0), 1)
	return t * t * (3 - 2*t)
}
