package jobs

import (
	"testing"

	"linecamp/daemon/service"
)

// Every kind of round has a name on the page.
func TestEveryRoundHasATitle(t *testing.T) {
	for _, kind := range service.Kinds {
		if RowOf(service.UnderWay{Round: kind}).What == "" {
			t.Errorf("a %s round has no title", kind)
		}
	}
}
