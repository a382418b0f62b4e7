package main

import (
	"context"

	"linecamp/daemon/setup"
)

// newKeys changes the keys of a bucket, which are asked for where no option names them.
func (t *tool) newKeys(ctx context.Context, o setup.Options, copy string, yes bool) (setup.Report, error) {
	if o.Credentials == "" && yes {
		return setup.Report{}, usagef("setup --new-keys --yes needs --credentials: \"env\", or a file with the new keys")
	}
	o, err := answered(ctx, t, func() (setup.Options, error) { return setup.AskKeys(t.in, t.errs, t.secret(), o) })
	if err != nil {
		return setup.Report{}, err
	}
	return setup.NewKeys(ctx, o, copy)
}
