package rot

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/history"
)

// job is one file to be looked at.
type job struct {
	object  *object
	path    string // content path
	want    manifest.Digest
	info    store.Info // from the listing
	listed  bool       // info is set
	files   int        // how many of people's files have these bytes
	confirm bool       // S3, beyond the allowance: ask the service, download nothing
	ours    bool       // a manifest or its sidecar, which was read back once
}

func (j job) key() string { return j.object.slug + "/" + j.path }

// hand gives a job to the workers, or to the choice of what may be downloaded.
// It reports whether the check goes on.
func (r *check) hand(ctx context.Context, j job) bool {
	j.object.mu.Lock()
	j.object.pending++
	j.object.mu.Unlock()
	if r.chosen != nil {
		for _, out := range r.chosen.offer(j, j.object.held[j.path]) {
			if !r.post(ctx, out) {
				return false
			}
		}
		return true
	}
	return r.post(ctx, j)
}

func (r *check) post(ctx context.Context, j job) bool {
	if !r.yield(ctx) {
		j.object.finish(r)
		return false
	}
	select {
	case r.jobs <- j:
		return true
	case <-ctx.Done():
		j.object.finish(r)
		return false
	}
}

// do is one job.
func (r *check) do(ctx context.Context, j job) {
	held, known := j.object.held[j.path]
	known = known && held.SHA256 == j.want
	if known && j.listed && j.info.Size != held.Size {
		r.damaged(ctx, j.object, j.damage(verify.Altered, differs(j.info.Size, held.Size)))
		r.progress(held.Size)
		return
	}
	switch {
	case j.ours && j.confirm: // the listing shows it unchanged
	case r.c.Root.Can().Tagged && (j.confirm || r.o.Quick):
		r.ask(ctx, j, held, known)
	case r.o.Quick && known && held.XXH64 != 0:
		r.quick(ctx, j, held)
	default:
		r.full(ctx, j, held, known)
	}
}

func (j job) damage(kind, detail string) verify.Damage {
	if j.ours {
		if kind == verify.Altered {
			detail = "its bytes changed since they were last read back"
		}
		return verify.Damage{Object: j.object.slug, Content: j.path, Kind: kind, Detail: detail, Path: verify.InventoryPath, Version: cmp.Or(verify.VersionOf(j.path), j.object.inv.Head())}
	}
	return verify.Damage{Object: j.object.slug, Content: j.path, Kind: kind, Detail: detail, Digest: j.want, Files: j.files, Bytes: j.info.Size}
}

// full reads every byte and compares the SHA-256.
func (r *check) full(ctx context.Context, j job, held verify.Held, known bool) {
	what := sha
	if r.c.Root.Can().Local && (!known || held.XXH64 == 0) {
		what |= xxh // for quick checks to come
	}
	got, err := r.read(ctx, j, what)
	if err != nil {
		r.failed(ctx, j, err)
		return
	}
	if got.sha != j.want && !r.c.Root.Can().Local {
		// The link may have changed them: what comes twice is what is there.
		again, err := r.read(ctx, j, sha)
		if err != nil {
			r.failed(ctx, j, err)
			return
		}
		if again.sha != j.want && again.sha != got.sha {
			r.damaged(ctx, j.object, j.damage(verify.Unreadable, "it read differently twice, so the connection may be at fault"))
			return
		}
		got = again
	}
	if got.sha != j.want {
		detail := differs(got.size, held.Size)
		if !known || held.Size == 0 || got.size == held.Size {
			detail = fmt.Sprintf("its SHA-256 is %s…, the manifest says %s…", got.sha.String()[:12], j.want.String()[:12])
		}
		r.damaged(ctx, j.object, j.damage(verify.Altered, detail))
		return
	}
	h := verify.Held{Path: j.path, SHA256: j.want, Files: j.files, Size: got.size, XXH64: got.xxh, ETag: j.info.ETag, ReadBack: r.now}
	r.remember(j.object, h)
	r.share(&r.report.ReadBack, j, got.size)
}

// quick compares size and XXH64 with what an earlier full reading remembered; a
// difference is looked into with a full reading.
func (r *check) quick(ctx context.Context, j job, held verify.Held) {
	got, err := r.read(ctx, j, xxh)
	if err != nil {
		r.failed(ctx, j, err)
		return
	}
	if got.xxh != held.XXH64 || got.size != held.Size {
		r.full(ctx, j, held, true)
		return
	}
	r.share(&r.report.Matched, j, got.size)
}

// ask is the check of a file on S3 that downloads nothing if it can: the
// listing's size and ETag are those that were remembered with the digest, or
// else the service reports the SHA-256 it checked on upload. What neither
// settles is read, as far as the allowance goes.
func (r *check) ask(ctx context.Context, j job, held verify.Held, known bool) {
	same := known && j.listed && held.ETag != "" && held.ETag == j.info.ETag && held.Size == j.info.Size
	if same && !held.Confirmed.IsZero() {
		r.remember(j.object, verify.Held{Path: j.path, SHA256: j.want, Files: j.files, Size: held.Size, ETag: held.ETag, Confirmed: r.now})
		r.share(&r.report.Confirmed, j, j.info.Size)
		r.progress(j.info.Size)
		return
	}
	info, err := r.c.Root.Stat(ctx, j.key())
	if err != nil {
		r.failed(ctx, j, err)
		return
	}
	j.info, j.listed = info, true
	switch {
	case info.SHA256 == j.want:
		r.remember(j.object, verify.Held{Path: j.path, SHA256: j.want, Files: j.files, Size: info.Size, ETag: info.ETag, Confirmed: r.now})
		r.share(&r.report.Confirmed, j, info.Size)
		r.progress(info.Size)
	case same && info.SHA256.IsZero():
		// The service reports no digest, and nothing changed since it was read back.
		r.share(&r.report.Matched, j, info.Size)
		r.progress(info.Size)
	case r.take(info.Size):
		r.full(ctx, j, held, known)
	default:
		r.progress(info.Size) // unread
	}
}

// take takes n bytes from what may still be downloaded.
func (r *check) take(n int64) bool {
	if r.o.Allowance < 0 {
		return true
	}
	if r.chosen != nil {
		return r.chosen.take(n)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.reserved+n > r.o.Allowance {
		return false
	}
	r.reserved += n
	return true
}

// failed is a file that could not be read.
func (r *check) failed(ctx context.Context, j job, err error) {
	var wrong wrongSize
	if errors.As(err, &wrong) {
		j.info.Size = wrong.got
		r.damaged(ctx, j.object, j.damage(verify.Altered, wrong.Error()))
		return
	}
	if r.over(ctx, err) {
		return
	}
	detail := plain(err)
	if errors.Is(err, fs.ErrNotExist) {
		detail = "it is not on this copy"
	}
	r.damaged(ctx, j.object, j.damage(kindOf(err), detail))
}

func (r *check) share(s *verify.Share, j job, size int64) {
	r.inARow.Store(0)
	r.mu.Lock()
	defer r.mu.Unlock()
	s.Files += j.files
	s.Bytes += size * int64(j.files)
}

// rememberEvery is how many findings of one object are kept before they are
// written down, so that a check that is stopped has not read in vain.
const rememberEvery = 256

func (r *check) remember(o *object, h verify.Held) {
	if r.o.Memory == nil {
		return
	}
	o.mu.Lock()
	o.found = append(o.found, h)
	var batch []verify.Held
	if len(o.found) >= rememberEvery {
		batch, o.found = o.found, nil
	}
	o.mu.Unlock()
	r.write(o, batch)
}

func (r *check) write(o *object, batch []verify.Held) {
	if len(batch) == 0 {
		return
	}
	if err := r.o.Memory.Remember(r.c.Key(), o.slug, batch); err != nil {
		r.stop(fmt.Errorf("remembering what %s holds: %w: %w", r.c.Name, ErrMemory, err))
	}
}

// finish ends one job of an object; with the last one, what was found is
// written down.
func (o *object) finish(r *check) {
	o.mu.Lock()
	o.pending--
	var batch []verify.Held
	last := o.pending == 0
	if last {
		batch, o.found = o.found, nil
	}
	o.mu.Unlock()
	r.write(o, batch)
	if last {
		r.mu.Lock()
		delete(r.live, o)
		r.mu.Unlock()
	}
}

// read digests a file past the page cache; once more where the copy did not
// answer, and does again.
func (r *check) read(ctx context.Context, j job, what sums) (digests, error) {
	got, err := r.readFile(ctx, j, what)
	if class := fault.Of(err); class.OfCopy() && class != fault.Away && ctx.Err() == nil && r.present(ctx) == nil {
		got, err = r.readFile(ctx, j, what)
	}
	return got, err
}

func (r *check) readFile(ctx context.Context, j job, what sums) (digests, error) {
	f, info, err := r.c.Root.OpenFresh(ctx, j.key())
	if err != nil {
		return digests{}, err
	}
	defer f.Close()
	if want, ok := j.object.sizeOf(ctx, r, j); ok && info.Size > want {
		return digests{}, wrongSize{info.Size, differs(info.Size, want)}
	}
	if info.Size > manifest.MaxRecord && j.want == j.object.inv.State(verify.VersionOf(j.path))[manifest.RecordPath] {
		return digests{}, wrongSize{info.Size, "it has more than the " + words.Size(manifest.MaxRecord) + " a record may have"}
	}
	got, err := digest(ctx, f, info.Size, what, r.progress)
	r.downloaded(got.size)
	if errors.Is(err, errLonger) {
		err = wrongSize{got.size, plain(err)}
	}
	return got, err
}

// wrongSize is a file that is longer than the manifest says, which is seen without
// reading it. What is shorter is read: only its digest is the last word.
type wrongSize struct {
	got  int64
	text string
}

func (w wrongSize) Error() string { return w.text }

// sizeOf is how long a file may be: as it was when it was last known to be good,
// or as the records of this copy say. It is not known where no record reads.
func (o *object) sizeOf(ctx context.Context, r *check, j job) (int64, bool) {
	if held, ok := o.held[j.path]; ok && held.SHA256 == j.want {
		return held.Size, true
	}
	if r.c.Root.Can().Metered && r.o.Allowance >= 0 {
		return 0, false // a metered link is spared the records; the service says how long it is
	}
	o.sizesMu.Lock()
	defer o.sizesMu.Unlock()
	if o.sizes == nil {
		o.sizes = map[int]map[manifest.Digest]int64{}
		o.records = history.Records{Inventory: o.inv, Roots: []store.Root{r.c.Root}}
	}
	for _, n := range []int{o.inv.Head(), verify.VersionOf(j.path)} {
		if o.sizes[n] == nil && n > 0 {
			rec, _ := o.records.Of(ctx, n)
			o.sizes[n] = manifest.Sizes(o.inv.State(n), rec)
			o.records.Forget()
		}
		if size, ok := o.sizes[n][j.want]; ok {
			return size, true
		}
	}
	return 0, false
}

func sortDamage(d []verify.Damage) {
	slices.SortFunc(d, func(a, b verify.Damage) int {
		for _, c := range []int{strings.Compare(a.Object, b.Object), strings.Compare(a.Path, b.Path), strings.Compare(a.Content, b.Content)} {
			if c != 0 {
				return c
			}
		}
		return 0
	})
}
