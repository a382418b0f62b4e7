package manifest

// Files tells, for each digest that people's paths ever had, how many of their
// files it stands for: the most paths that any one version has for it. Two equal
// photos are stored once and are two files; a photo that was moved is one.
func (inv *Inventory) Files() map[Digest]int {
	most := make(map[Digest]int, len(inv.Content))
	for _, v := range inv.Versions {
		n := map[Digest]int{}
		for p, d := range v.State {
			if !Reserved(p) {
				n[d]++
			}
		}
		for d, k := range n {
			most[d] = max(most[d], k)
		}
	}
	return most
}
