package page

import (
	"context"
	"fmt"
	"net/http"

	"linecamp/daemon"
	"linecamp/daemon/show/page/cardview"
)

// cardFrame is what of a camera card would be filed, and where.
type cardFrame struct {
	frame
	cardview.View
	Here bool // this machine has the working folder
}

func (s *Server) card(w http.ResponseWriter, _ *http.Request, b *book) error {
	return show(w, "card", http.StatusOK, cardFrame{s.frame(b, "work", "From a camera card"), b.desk.View(b.Line), b.HasFolder()})
}

func (s *Server) cardPicture(w http.ResponseWriter, r *http.Request, b *book) error {
	if !b.desk.Serve(w, r, r.PathValue("file")) {
		return errNothing
	}
	return nil
}

func cardDeed(b *book, r *http.Request, _ *reading) (deed, error) {
	asked, err := cardview.Read(r)
	if err != nil {
		return deed{}, fmt.Errorf("%w: %w", errAsked, err)
	}
	return deed{cardview.What, asked.Line(), func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return b.desk.Do(ctx, b.Archive.Archive, asked, p)
	}}, nil
}
