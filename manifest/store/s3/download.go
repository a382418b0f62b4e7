package s3

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// goodStretch is how many bytes a connection must bring before it breaks to
// count as a link that works; one that brings less is tried maxTries times.
const goodStretch = 256 << 10

func (s *Bucket) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	if err := store.CheckKey(key); err != nil {
		return nil, store.Info{}, err
	}
	body, stat, _, err := s.get(ctx, key, checksumMode())
	if err != nil {
		return nil, store.Info{}, s.fail("reading", key, err)
	}
	info := infoOf(key, stat)
	if info.Size < 0 { // it could send for ever
		body.Close()
		return nil, store.Info{}, fault.Say(store.ErrNotS3, "%s: the service does not say how long %s is, so it was not read", s.Name(), store.Clip(key))
	}
	return &download{s: s, ctx: ctx, info: info, body: body}, info, nil
}

func (s *Bucket) get(ctx context.Context, key string, o minio.GetObjectOptions) (body io.ReadCloser, stat minio.ObjectInfo, h http.Header, err error) {
	err = s.ask(ctx, func() (err error) {
		body, stat, h, err = s.core.GetObject(ctx, s.at.Bucket, s.full(key), o)
		return err
	})
	return body, stat, h, err
}

// download reads one key. A connection that breaks on the way is made again and
// goes on where it stopped, as long as the same bytes are there. Errors carry
// the name of the copy.
type download struct {
	s    *Bucket
	ctx  context.Context
	info store.Info
	body io.ReadCloser

	at    int64 // bytes handed out
	mark  int64 // bytes handed out when it last broke
	tries int   // how often it broke without a good stretch between
}

func (d *download) Read(p []byte) (int, error) {
	for {
		n, err := d.body.Read(p)
		d.at += int64(n)
		switch {
		case err == nil, n > 0 && err != io.EOF:
			return n, nil // a fault shows again at the next read
		case d.at == d.info.Size:
			return n, io.EOF
		case err == io.EOF:
			err = io.ErrUnexpectedEOF
		}
		if err := d.again(err); err != nil {
			return n, d.s.fail("reading", d.info.Key, err)
		}
		if n > 0 {
			return n, nil
		}
	}
}

// again asks for the rest after the connection broke with an error, which it
// returns if there is no going on.
func (d *download) again(broke error) error {
	if d.info.ETag == "" {
		return broke
	}
	if d.at-d.mark >= goodStretch {
		d.tries = 0
	}
	d.mark = d.at
	if err := d.s.again(d.ctx, &d.tries, broke); err != nil {
		return err
	}
	o := checksumMode()
	if err := o.SetMatchETag(d.info.ETag); err != nil {
		return broke
	}
	if d.at > 0 {
		if err := o.SetRange(d.at, 0); err != nil {
			return broke
		}
	}
	body, stat, header, err := d.s.get(d.ctx, d.info.Key, o)
	if err != nil {
		return err
	}
	whole := d.at == 0 || strings.HasPrefix(header.Get("Content-Range"), fmt.Sprintf("bytes %d-", d.at))
	if !whole || stat.Size != d.info.Size-d.at || stat.ETag != d.info.ETag {
		body.Close()
		return broke
	}
	d.body.Close()
	d.body = body
	return nil
}

func (d *download) Close() error { return d.body.Close() }
