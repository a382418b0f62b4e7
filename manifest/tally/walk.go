package tally

import "context"

// Read reads a working folder. A fault in one file or folder is in the Result
// and never stops the rest; an error means there is no result.
func Read(ctx context.Context, o Options) (*Result, error) {
	panic("to come")
}
