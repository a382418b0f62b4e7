package reach

import (
	"context"
	"errors"
	"strings"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/store/s3"
)

// One opens one copy, or gives up at the limit. An opening that comes to
// an end later is closed then; a drive that hangs in the kernel hangs alone.
func (o Opener) One(ctx context.Context, c config.Copy, limit time.Duration) (store.Root, error) {
	ctx, cancel := context.WithTimeout(ctx, limit)
	type opened struct {
		root store.Root
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		root, err := o.openRoot(ctx, c)
		done <- opened{root, err}
	}()
	select {
	case got := <-done:
		cancel()
		if !errors.Is(got.err, context.DeadlineExceeded) {
			return got.root, got.err
		}
	case <-ctx.Done():
		cancel()
		go func() {
			if got := <-done; got.err == nil {
				got.root.Close()
			}
		}()
		if !errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return nil, ctx.Err()
		}
	}
	return nil, fault.Say(store.ErrUnreachable, "%s did not answer within %d seconds", c.Place(), int(limit.Seconds()))
}

func (o Opener) openRoot(ctx context.Context, c config.Copy) (store.Root, error) {
	if c.Kind == config.KindDrive {
		return o.openDrive(ctx, c)
	}
	root, err := OpenBucket(ctx, c)
	if err != nil {
		return nil, err
	}
	id, err := root.Identity(ctx)
	if err == nil && !strings.EqualFold(id.CopyID, c.ID) {
		err = fault.Say(store.ErrOtherRoot, "%s holds another copy (%s of the archive %s) than the settings say (%s); nothing is written to it", root.Name(), id.CopyID, id.Archive, c.ID)
	}
	if err != nil {
		root.Close()
		return nil, err
	}
	return root, nil
}

// OpenBucket opens the S3 root of a copy without looking at its identity.
func OpenBucket(ctx context.Context, c config.Copy) (*s3.Bucket, error) {
	spec := c.Credentials
	if spec == "" {
		spec = "env"
	}
	if spec == config.NoCredentials {
		return nil, fault.Say(store.ErrCredentials, "nobody has confirmed this address yet, so no key is sent there. If %s is yours, write credentials = \"env\", or a file with its keys, into the settings", c.URL)
	}
	access, secret, session, err := s3.Credentials(spec)
	if err != nil {
		return nil, err
	}
	return s3.Open(ctx, s3.Options{
		URL: c.URL, VirtualHost: c.Addressing == "host", Region: c.Region,
		Access: access, Secret: secret, Session: session, CAFile: c.CAFile,
		Fence: c.Fence != "none", ReadBack: c.ReadBack,
	})
}
