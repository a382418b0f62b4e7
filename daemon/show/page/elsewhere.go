package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"time"

	"linecamp/daemon/service"
	"linecamp/daemon/show/page/jobs"
)

// elsewhereRows are the rounds that were not begun from this page: the service's,
// or those of a command in some window.
func elsewhereRows(b *book) (all []jobs.Row) {
	if b.jobs.Running() != nil {
		return nil // which is shown itself
	}
	for _, u := range b.UnderWay() {
		all = append(all, jobs.RowOf(u))
	}
	return all
}

// elsewhereEvery is how often it is looked at how far such a round is.
const elsewhereEvery = time.Second

// elsewhere tells how far such a round is, as events does.
func (s *Server) elsewhere(w http.ResponseWriter, r *http.Request, b *book, round string) error {
	now := func() (jobs.Row, bool) {
		all := b.UnderWay()
		i := slices.IndexFunc(all, func(u service.UnderWay) bool { return u.Round == round })
		if i < 0 {
			return jobs.Row{ID: round, Outcome: "Ended", Tasks: []jobs.TaskRow{}}, false
		}
		return jobs.RowOf(all[i]), true
	}
	if _, ok := now(); !ok {
		return errNothing
	}
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	tick := time.NewTicker(elsewhereEvery)
	defer tick.Stop()
	for {
		row, under := now()
		text, err := json.Marshal(row)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "data: %s\n\n", text); err != nil || out.Flush() != nil || !under {
			return nil
		}
		select {
		case <-tick.C:
		case <-r.Context().Done():
			return nil
		case <-s.life.Done():
			return nil
		}
	}
}
