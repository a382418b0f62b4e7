package link

import (
	"io"
	"log"
)

// quiet swallows what Go's server says about connections a test broke.
var quiet = log.New(io.Discard, "", 0)
