package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"io"
	"sync"
)

// hash reads every file that some inventory gives a digest for, once, and
// compares all of them.
func (o *object) hash(ctx context.Context) error {
	if o.opts.NoContent {
		return ctx.Err()
	}
	paths := o.sortedContent()
	jobs := make(chan string)
	var wg sync.WaitGroup
	for range min(o.opts.Workers, len(paths)) {
		wg.Go(func() {
			buffer := make([]byte, 256<<10)
			for p := range jobs {
				o.compare(ctx, p, o.content[p], buffer)
			}
		})
	}
	for _, p := range paths {
		if len(o.content[p].wants) > 0 && ctx.Err() == nil {
			jobs <- p
		}
	}
	close(jobs)
	wg.Wait()
	return ctx.Err()
}

// compare reads one file and holds its bytes against all digests given for it.
func (o *object) compare(ctx context.Context, path string, c *content, buffer []byte) {
	digesters := map[*inventory.Algorithm]inventory.Digester{}
	for _, w := range c.wants {
		if digesters[w.alg] == nil {
			digesters[w.alg] = w.alg.New()
		}
	}
	if err := o.read(ctx, path, digesters, buffer); err != nil {
		if ctx.Err() == nil {
			o.note(Unreadable, path, "it cannot be read: %v", err)
		}
		return
	}
	got := map[*inventory.Algorithm]string{}
	for alg, d := range digesters {
		got[alg] = d.Digest()
	}
	for _, w := range c.wants {
		if got[w.alg] != w.digest {
			o.note(w.code, path, "its %s is %s, %s says %s", w.alg.Name, got[w.alg], w.file, w.digest)
		}
	}
}

func (o *object) read(ctx context.Context, path string, into map[*inventory.Algorithm]inventory.Digester, buffer []byte) error {
	f, err := o.files.Open(ctx, o.full(path))
	if err != nil {
		return err
	}
	defer f.Close()
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := f.Read(buffer)
		for _, d := range into {
			d.Write(buffer[:n])
		}
		if n > 0 {
			o.progress(int64(n))
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}
