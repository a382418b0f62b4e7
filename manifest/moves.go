package manifest

import (
	"slices"
)

// Moves returns the moves of the step from one state to the next: old path to
// new path. A move is a path that went and a path that came with the same
// digest, paired one-to-one in byte order; where more went than came, or the
// other way round, the rest is no move. Reserved paths never move.
func Moves(from, to map[string]Digest) map[string]string {
	came := map[Digest][]string{}
	for p, d := range to {
		if _, was := from[p]; !was && !reserved(p) {
			came[d] = append(came[d], p)
		}
	}
	moves := map[string]string{}
	if len(came) == 0 {
		return moves
	}
	went := map[Digest][]string{}
	for p, d := range from {
		if _, is := to[p]; !is && came[d] != nil && !reserved(p) {
			went[d] = append(went[d], p)
		}
	}
	for d, olds := range went {
		news := came[d]
		slices.Sort(olds)
		slices.Sort(news)
		for i := range min(len(olds), len(news)) {
			moves[olds[i]] = news[i]
		}
	}
	return moves
}
