package manifest

import _ "embed"

// Format describes the storage format in words, for someone who has nothing
// but a copy: every root holds it as linecamp.md.
//
//go:embed FORMAT.md
var Format string
