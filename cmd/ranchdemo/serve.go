package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"

	"linecamp/daemon/config"
	"linecamp/manifest/store/s3test"
)

// serveAgain starts the S3 service of an earlier run at the address its config
// names, with the objects that run left.
func serveAgain(ctx context.Context, at place, out io.Writer) error {
	archives, faults := config.Load(at.config())
	if len(faults) > 0 {
		return fmt.Errorf("the settings of the earlier run: %w", errors.Join(faults...))
	}
	for _, c := range archives[0].Copies {
		if c.Kind != config.KindS3 {
			continue
		}
		u, err := url.Parse(c.URL)
		if err != nil {
			return fmt.Errorf("the address of the copy %s: %w", c.Name, err)
		}
		server, err := s3test.StartFakeAt(at.bucket(), u.Host)
		if err != nil {
			return fmt.Errorf("the S3 service cannot be started again at %s, the address that %s names; if another program took it, stop that first: %w", u.Host, at.config(), err)
		}
		defer server.Close()
		fmt.Fprintf(out, "The S3 service is up again at %s, with what it held.\n\n", server.URL)
		playOn(out, at)
		fmt.Fprintln(out, "\nStop it with Ctrl-C.")
		<-ctx.Done()
		return nil
	}
	return fmt.Errorf("%s names no S3 copy; there is nothing to serve", at.config())
}

// playOn names the commands to go on with.
func playOn(out io.Writer, at place) {
	fmt.Fprintf(out, `To play on:

    export LINECAMP_CONFIG=%s PATH=%s:$PATH
    linecamp page
    linecamp status
    linecamp history "Windmill Stake 1"
    linecamp restore --everything --into %s

`, quoted(at.config()), quoted(string(at)), quoted(string(at)+"/everything"))
}
