package mirror

import (
	"context"
	"strings"
	"testing"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// A bucket that refuses to delete, and to write over anything of a version that is
// committed, is all that a copy needs: first and later versions, catching up, a lost
// state, a take-over and a version that is lost ask for nothing more.
func TestABucketThatLetsNothingGo(t *testing.T) {
	srv := s3test.Keeping(t)
	r := newRanch(t, "shelf")
	bucket := r.addBucket(srv, "bucket")
	shelf := r.copies[0]
	r.visit("North/Windmill", "2019-06-21")
	r.visit("North/Gully", "2019-06-21")
	r.wantCurrent(r.mirror())
	bucket.away = true
	r.visit("North/Windmill", "2020-06-20")
	r.mirror()
	bucket.away = false
	r.wantCurrent(r.mirror())
	shelf.away = true // the bucket is where versions are made
	r.visit("North/Windmill", "2021-06-20")
	r.remove("North/Windmill/2019-06-21/notes.txt")
	r.mirror()
	shelf.away = false
	r.wantCurrent(r.mirror())
	r.loseState()
	r.visit("North/Gully", "2020-06-20")
	r.wantCurrent(r.mirror())

	// The seal that comes to it goes ahead of a version that nobody has any more.
	bucket.away = true
	r.visit("North/Gully", "2021-06-20")
	r.mirror()
	ahead, err := store.ReadSeal(t.Context(), shelf.root)
	must(t, err)
	must(t, store.WriteSeal(t.Context(), bucket.root, ahead))
	r.loseState()
	bucket.away, r.copies = false, []*copyOf{bucket}
	if rep := r.mirror(func(in *In) { in.GivenUp = []string{shelf.id} }); rep.Made != 1 || len(rep.Asks) != 1 {
		t.Errorf("%+v", rep)
	}
	if asked := srv.Refused(); len(asked) > 0 {
		t.Errorf("it was asked for what it refuses: %v", asked)
	}

	// It does refuse.
	core, err := srv.Client()
	must(t, err)
	ctx := context.Background()
	name := bucketOf(t, core)
	key := "north--windmill/v1/inventory.json"
	for k := range core.Client.ListObjects(ctx, name, minio.ListObjectsOptions{Recursive: true}) {
		if strings.HasSuffix(k.Key, key) {
			key = k.Key
		}
	}
	if _, err := core.Client.PutObject(ctx, name, key, strings.NewReader("other"), 5, minio.PutObjectOptions{}); err == nil {
		t.Error("it let what is committed be written over")
	}
	if err := core.RemoveObject(ctx, name, key, minio.RemoveObjectOptions{}); err == nil {
		t.Error("it let what is committed be deleted")
	}
	if asked := srv.Refused(); len(asked) != 2 {
		t.Errorf("%v", asked)
	}
}

func bucketOf(t *testing.T, core *minio.Core) string {
	all, err := core.ListBuckets(t.Context())
	must(t, err)
	return all[0].Name
}
