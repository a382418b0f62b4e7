package main

import (
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"linecamp/manifest/store/mounttest"
)

// TestDisks runs the scripts of testdata/disks on every real file system that
// can be mounted here.
func TestDisks(t *testing.T) {
	for _, kind := range mounttest.Kinds(t) {
		t.Run(kind.Name, func(t *testing.T) {
			testscript.Run(t, testscript.Params{
				Dir:                 "testdata/disks",
				RequireExplicitExec: true,
				RequireUniqueNames:  true,
				UpdateScripts:       *update,
				Condition:           condition,
				Cmds:                commands,
				Setup: func(env *testscript.Env) error {
					env.Values[diskKind{}] = kind
					env.Values[disksKey{}] = disks{}
					return ownHome(env)
				},
			})
		})
	}
}

func init() { commands["disk"], commands["either"] = disk, either }

// either PROGRAM ARGS… runs a program that ends well or wants a person, where
// that depends on the file system.
func either(ts *testscript.TestScript, neg bool, args []string) {
	err := ts.Exec(args[0], args[1:]...)
	var ended *exec.ExitError
	if err != nil && (!errors.As(err, &ended) || ended.ExitCode() != 3) {
		ts.Fatalf("%v", err)
	}
}

// diskKind is the key under which a script's file system is kept.
type diskKind struct{}

// disks are a script's drives by name; disksKey is where they are kept.
type disks map[string]*mounttest.Disk

type disksKey struct{}

// disk make NAME [MB] makes a drive with an empty file system; "disk mount NAME
// FOLDER" plugs it in there, "disk unmount NAME" takes it out, "disk remount
// NAME ro|rw" changes its write protection; "disk fill NAME" leaves only
// some 64 kB free on it, and "disk free NAME" takes that back.
func disk(ts *testscript.TestScript, neg bool, args []string) {
	all := ts.Value(disksKey{}).(disks)
	name := args[1]
	if args[0] == "make" {
		d, err := mounttest.New(ts.Value(diskKind{}).(mounttest.Kind), ts.MkAbs(name+".img"))
		ts.Check(err)
		all[name] = d
		ts.Defer(func() { d.PullOut() })
		return
	}
	d := all[name]
	if d == nil {
		ts.Fatalf("there is no disk %s", name)
	}
	switch args[0] {
	case "mount":
		ts.Check(os.MkdirAll(ts.MkAbs(args[2]), 0o755))
		ts.Check(d.Mount(ts.MkAbs(args[2])))
	case "unmount":
		ts.Check(d.Unmount())
	case "remount":
		ts.Check(d.Remount(args[2]))
	case "fill":
		_, err := d.Fill("filler", 64<<10)
		ts.Check(err)
	case "free":
		ts.Check(os.Remove(d.Dir() + "/filler"))
	default:
		ts.Fatalf("disk %s?", strings.Join(args, " "))
	}
}
