package main

import (
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/testscript"

	"linecamp/daemon/notice/mailtest"
)

func init() {
	commands["mailserver"], commands["letters"], commands["watcher"] = mailServer, letters, watcher
}

// mailserver HOW [refuses] runs a mail server, at $MAIL with what to trust in ca.pem.
func mailServer(ts *testscript.TestScript, neg bool, args []string) {
	s := &mailtest.Server{User: "linecamp", Secret: "d3ep water"}
	if len(args) > 1 {
		s.Refuses = mailtest.Refusal(550, "No such user here")
	}
	address, _, stop, err := s.Start(ts.Getenv("WORK"), args[0], "127.0.0.1")
	ts.Check(err)
	ts.Defer(stop)
	ts.Setenv("MAIL", address)
	mailServers[ts] = s
}

var mailServers = map[*testscript.TestScript]*mailtest.Server{}

// letters FILE puts the newest letter that came into a file.
func letters(ts *testscript.TestScript, neg bool, args []string) {
	all := mailServers[ts].Letters()
	if (len(all) == 0) != neg {
		ts.Fatalf("%d letters came", len(all))
	}
	if !neg {
		ts.Check(os.WriteFile(ts.MkAbs(args[0]), all[len(all)-1], 0o600))
	}
}

// watcher serves web addresses at $WATCHER; each call is a line in the file "called", and
// what it brought is in the file "brought".
func watcher(ts *testscript.TestScript, neg bool, args []string) {
	work := ts.Getenv("WORK") // the script may set others while a call comes in
	appendTo := func(name, line string) error {
		f, err := os.OpenFile(filepath.Join(work, name), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
		if err != nil {
			return err
		}
		_, err = f.WriteString(line + "\n")
		return errors.Join(err, f.Close())
	}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err == nil {
			err = errors.Join(appendTo("called", r.Method+" "+r.URL.String()), appendTo("brought", string(body)))
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		if r.URL.Path == "/refuses" {
			http.Error(w, "not today", http.StatusTeapot)
		}
	}))
	ts.Defer(s.Close)
	ts.Setenv("WATCHER", s.URL)
}
