package fault_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"testing"

	"linecamp/manifest/store/fault"
)

func TestTheGravestClassOfAnErrorCounts(t *testing.T) {
	digest := fault.New("bytes differ", fault.OfFile)
	away := fault.New("not here", fault.Away)
	denied := fault.New("denied", fault.Refused)
	for _, c := range []struct {
		err    error
		want   fault.Class
		ofCopy bool
	}{
		{nil, fault.OfFile, false},
		{errors.New("nobody classed it"), fault.OfFile, false},
		{digest, fault.OfFile, false},
		{fmt.Errorf("reading: %w", denied), fault.Refused, true},
		{fmt.Errorf("reading: %w (%w)", digest, away), fault.Away, true},
		{errors.Join(denied, fmt.Errorf("x: %w", digest)), fault.Refused, true},
		{fmt.Errorf("opening: %w", context.DeadlineExceeded), fault.Unreachable, true},
		{fmt.Errorf("opening: %w", os.ErrDeadlineExceeded), fault.Unreachable, true},
		{context.Canceled, fault.OfFile, false},
		{fault.New("no space left", fault.Full), fault.Full, false},
		{fault.New("damaged", fault.Damaged), fault.Damaged, false},
	} {
		if got := fault.Of(c.err); got != c.want || got.OfCopy() != c.ofCopy {
			t.Errorf("%v: class %d, of the copy: %v; want %d, %v", c.err, got, got.OfCopy(), c.want, c.ofCopy)
		}
	}
}

func TestSay(t *testing.T) {
	none := fault.New("it is not there; plug it in", fault.Away)
	err := fault.Say(none, "%s is not there. Is the drive plugged in?", "/mnt/x")
	if err.Error() != "/mnt/x is not there. Is the drive plugged in?" || !errors.Is(err, none) || fault.Of(fmt.Errorf("shelf: %w", err)) != fault.Away {
		t.Errorf("%v, class %d", err, fault.Of(err))
	}
	both := fault.Say(errors.Join(none, os.ErrPermission), "not both at once")
	if !errors.Is(both, none) || !errors.Is(both, os.ErrPermission) || fault.Of(both) != fault.Away {
		t.Errorf("%v is not both", both)
	}
}
