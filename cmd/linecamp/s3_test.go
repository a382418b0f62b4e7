package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"

	"github.com/minio/minio-go/v7"
	"github.com/rogpeppe/go-internal/testscript"

	"linecamp/manifest/store/s3test"
)

// bucketName is the bucket that every script's S3 server has.
const bucketName = "monitoring"

// servers keeps the S3 server of each script, by its folder.
var (
	servers   = map[string]*s3test.Server{}
	serversMu sync.Mutex
)

func init() {
	commands["s3"], commands["s3ls"], commands["s3flip"], commands["s3rm"] = s3Server, s3ls, s3flip, s3rm
}

// s3 fake|real|none|stop starts an S3 server with one bucket, in this process
// or the real one over the folder s3/data, sets S3URL to its address and the
// AWS variables to its keys; "none" starts something that is no S3 server at
// NOTS3URL; "stop" ends the S3 server.
func s3Server(ts *testscript.TestScript, neg bool, args []string) {
	switch args[0] {
	case "fake":
		srv, err := s3test.StartFake("")
		ts.Check(err)
		begin(ts, srv)
	case "real":
		srv, err := s3test.StartReal(os.Getenv(s3test.Variable), ts.MkAbs("s3"))
		ts.Check(err)
		begin(ts, srv)
	case "stop":
		ts.Check(server(ts).Close())
		ts.Setenv("S3STOPPED", "yes")
	case "none":
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			fmt.Fprintln(w, "<html>The weather station's page</html>")
		}))
		ts.Defer(srv.Close)
		ts.Setenv("NOTS3URL", srv.URL)
	case "trap": // writes the file trapped as soon as anybody asks anything
		file := ts.MkAbs("trapped")
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			os.WriteFile(file, []byte(r.Method+" "+r.URL.Path), 0o666)
			http.Error(w, "trapped", http.StatusForbidden)
		}))
		ts.Defer(srv.Close)
		ts.Setenv("TRAPURL", srv.URL)
	default:
		ts.Fatalf("s3 %s?", args[0])
	}
}

func begin(ts *testscript.TestScript, srv *s3test.Server) {
	serversMu.Lock()
	servers[ts.Getenv("WORK")] = srv
	serversMu.Unlock()
	ts.Defer(func() {
		if ts.Getenv("S3STOPPED") == "" {
			srv.Close()
		}
	})
	core, err := srv.Client()
	ts.Check(err)
	there, err := core.BucketExists(context.Background(), bucketName)
	ts.Check(err)
	if !there {
		_, err := srv.Bucket(context.Background(), bucketName)
		ts.Check(err)
	}
	ts.Setenv("S3URL", srv.URL)
	ts.Setenv("S3SECRET", srv.Secret)
	ts.Setenv("AWS_ACCESS_KEY_ID", srv.Access)
	ts.Setenv("AWS_SECRET_ACCESS_KEY", srv.Secret)
}

func server(ts *testscript.TestScript) *s3test.Server {
	serversMu.Lock()
	defer serversMu.Unlock()
	srv := servers[ts.Getenv("WORK")]
	if srv == nil {
		ts.Fatalf("no S3 server was started")
	}
	return srv
}

// s3ls FILE writes every key of the bucket with its size and ETag.
func s3ls(ts *testscript.TestScript, neg bool, args []string) {
	core, err := server(ts).Client()
	ts.Check(err)
	var b strings.Builder
	for o := range core.Client.ListObjects(context.Background(), bucketName, minio.ListObjectsOptions{Recursive: true}) {
		ts.Check(o.Err)
		fmt.Fprintf(&b, "%s %d %s\n", o.Key, o.Size, o.ETag)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(b.String()), 0o644))
}

// s3rm PREFIX… removes every key of the bucket that begins so.
func s3rm(ts *testscript.TestScript, neg bool, args []string) {
	core, err := server(ts).Client()
	ts.Check(err)
	for _, prefix := range args {
		n := 0
		for o := range core.Client.ListObjects(context.Background(), bucketName, minio.ListObjectsOptions{Prefix: prefix, Recursive: true}) {
			ts.Check(o.Err)
			ts.Check(core.RemoveObject(context.Background(), bucketName, o.Key, minio.RemoveObjectOptions{}))
			n++
		}
		if n == 0 {
			ts.Fatalf("the bucket has no key that begins with %s", prefix)
		}
	}
}

// s3flip KEY changes one bit of what the bucket holds there.
func s3flip(ts *testscript.TestScript, neg bool, args []string) {
	ctx := context.Background()
	core, err := server(ts).Client()
	ts.Check(err)
	o, err := core.Client.GetObject(ctx, bucketName, args[0], minio.GetObjectOptions{})
	ts.Check(err)
	b, err := io.ReadAll(o)
	ts.Check(err)
	b[len(b)/2] ^= 0x10
	_, err = core.Client.PutObject(ctx, bucketName, args[0], bytes.NewReader(b), int64(len(b)), minio.PutObjectOptions{})
	ts.Check(err)
}
