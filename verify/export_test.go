package verify

var Grid = grid

// Legend is what each symbol of the grid means.
func Legend() map[string]string {
	all := map[string]string{}
	for _, m := range marks {
		all[string(m.mark)] = m.says
	}
	return all
}
