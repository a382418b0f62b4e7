//go:build !unix

package tally

import (
	"testing"
	"time"
)

func makeSpecial(*testing.T, string) bool { return false }

func cpuTime() time.Duration { return 0 }
