package ocfl

// notTestable lists the codes of the specification that this package never
// reports, with the reason: they are about what a program does or about how a
// rule is read, or another code says the same of the same files more exactly.
var notTestable = map[string]string{
	"E002": "the general rule; what can be wrong with a declaration has the codes E003 to E007",
	"E013": "about adding versions; on stored files it is the same fact as E012 (or E011)",
	"E022": "about what programs do: they look at no other folder (this one reports W002)",
	"E026": "the same choice of fixity algorithms that E056 is about",
	"E027": "about what programs support; this one supports all of them",
	"E028": "about what programs do: they pass over fixity algorithms they do not support",
	"E062": "about the order of writing; what is left of it on storage is E060",
	"E068": "1.0 only: whether some text in the root documents an extension, a person must read (W013 tells which)",
	"E075": "the general rule; what can be wrong with a root's declaration has the codes E076 to E080",
	"E087": "about what programs do: files in a root that are not known are passed over",
	"E091": "1.0 only: about file systems, not files",
	"W012": "about what people put into logs, in a format of their own",
}

// allCodes are the codes of "OCFL Validation Codes" (ocfl.io/1.1/spec and
// ocfl.io/1.0/spec, validation-codes.html; CC BY 4.0, by the editors of the
// OCFL specification): numbers from first to last, without those that were
// never given or were withdrawn before 1.0.
var allCodes = []struct {
	letter      byte
	first, last int
	absent      []int
}{
	{'E', 1, 112, []int{65, 109}},
	{'W', 1, 16, []int{6}},
}
