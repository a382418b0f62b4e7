package rot_test

import (
	"context"
	"fmt"
	"os"
	"testing"

	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// A copy of one site, on which one bit of a photo flips.
func ExampleCheck() {
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	r := verifytest.New(in{dir: dir}, 1)
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2020))
	verifytest.Flip(in{dir: dir}, r.Path(0, r.Key(verifytest.Stake.Slug, "2019-06-21/plot.jpg")))

	report, err := rot.Check(context.Background(), r.Copies[0], rot.Options{Allowance: -1})
	if err != nil {
		panic(err)
	}
	fmt.Println(report.Files, "files,", report.ReadBack.Files, "read back")
	for _, d := range report.Damage {
		fmt.Println(d.Kind, d.Path)
	}
	// Output:
	// 6 files, 5 read back
	// altered Windmill/Stake 3/2019-06-21/plot.jpg
}

// in stands where a helper wants a test: an example has none.
type in struct {
	testing.TB
	dir string
}

func (in) Helper()           {}
func (in) Fatal(why ...any)  { panic(fmt.Sprint(why...)) }
func (in) Cleanup(func())    {}
func (i in) TempDir() string { return i.dir }
