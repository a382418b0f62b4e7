// Package standard says in words how a folder stands against a published standard: [Root]
// for a storage root of the Oxford Common File Layout, [Bag] for a bag of RFC 8493.
package standard

import (
	"fmt"
	"io"
	"maps"
	"path"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify/ocfl"
)

// mostOfCode is how many findings of one code are printed of one object; all of
// them are in the JSON.
const mostOfCode = 5

// Root says how a storage root stands: what is invalid first, then warnings.
func Root(w io.Writer, r ocfl.Report) {
	invalid := 0
	for _, o := range r.Objects {
		if !o.Valid {
			invalid++
		}
	}
	root := manifest.Printable(r.Root)
	switch {
	case r.Valid && len(r.Objects) == 0:
		fmt.Fprintf(w, "%s is valid: an OCFL storage root without objects.\n", root)
	case r.Valid && len(r.Objects) == 1 && r.Objects[0].Path == ".":
		fmt.Fprintf(w, "%s is valid: an OCFL object.\n", root)
	case r.Valid:
		fmt.Fprintf(w, "%s is valid: an OCFL storage root with %s.\n", root, words.Count(len(r.Objects), "object"))
	case len(r.Objects) == 1 && r.Objects[0].Path == ".":
		fmt.Fprintf(w, "%s is NOT valid as an OCFL object.\n", root)
	case invalid > 0:
		fmt.Fprintf(w, "%s is NOT valid as an OCFL storage root: %d of %s not valid.\n", root, invalid, words.Count(len(r.Objects), "object"))
	case len(r.Objects) == 0:
		fmt.Fprintf(w, "%s is NOT valid as an OCFL storage root, and holds no object.\n", root)
	default:
		fmt.Fprintf(w, "%s is NOT valid as an OCFL storage root, though %s in it valid.\n", root, objectsAre(len(r.Objects)))
	}
	ocflFindings(w, "Errors about the root itself", "", r.Errors)
	for _, o := range r.Objects {
		ocflFindings(w, "Errors in "+objectTitle(o), o.Path, o.Errors)
	}
	ocflWarnings(w, r)
	omitted := r.Omitted
	for _, o := range r.Objects {
		omitted += o.Omitted
	}
	if omitted > 0 {
		fmt.Fprintf(w, "\n%d more of the same kinds are not listed.\n", omitted)
	}
}

func objectsAre(n int) string {
	if n == 1 {
		return "the object is"
	}
	return fmt.Sprintf("the %d objects are", n)
}

func objectTitle(o ocfl.Object) string {
	if o.ID == "" {
		return "the object " + manifest.Printable(o.Path)
	}
	if o.Path == "." {
		return manifest.Printable(o.ID)
	}
	return manifest.Printable(o.Path) + " (" + manifest.Printable(o.ID) + ")"
}

// printWarnings prints each warning once, with how many objects it is about.
func ocflWarnings(w io.Writer, r ocfl.Report) {
	type key struct{ code, detail string }
	var order []key
	places := map[key][]string{}
	add := func(folder string, all []ocfl.Finding) {
		for _, f := range all {
			k := key{f.Code, f.Detail}
			if places[k] == nil {
				order = append(order, k)
			}
			where := path.Join(folder, f.Path)
			if where == "" {
				where = "."
			}
			places[k] = append(places[k], manifest.Printable(where))
		}
	}
	add("", r.Warnings)
	for _, o := range r.Objects {
		add(o.Path, o.Warnings)
	}
	if len(order) == 0 {
		return
	}
	fmt.Fprint(w, "\nWarnings, which do not make it invalid:\n")
	slices.SortStableFunc(order, func(a, b key) int { return strings.Compare(a.code, b.code) })
	said := map[string]int{}
	for _, k := range order {
		if said[k.code]++; said[k.code] > mostOfCode {
			continue
		}
		at := places[k][0]
		if n := len(places[k]); n > 1 {
			at = fmt.Sprintf("%s and %d more", at, n-1)
		}
		fmt.Fprintf(w, "  %s  %s: %s\n", k.code, at, manifest.Printable(k.detail))
	}
	for _, code := range slices.Sorted(maps.Keys(said)) {
		if more := said[code] - mostOfCode; more > 0 {
			fmt.Fprintf(w, "  %s  and %d more\n", code, more)
		}
	}
}

// print lists findings by code, each code with its first few.
func ocflFindings(w io.Writer, title, folder string, findings []ocfl.Finding) {
	if len(findings) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s:\n", title)
	byCode := map[string][]ocfl.Finding{}
	var codes []string
	for _, f := range findings {
		if byCode[f.Code] == nil {
			codes = append(codes, f.Code)
		}
		byCode[f.Code] = append(byCode[f.Code], f)
	}
	slices.Sort(codes)
	for _, code := range codes {
		all := byCode[code]
		for _, f := range all[:min(len(all), mostOfCode)] {
			where := path.Join(folder, f.Path)
			if where == "" {
				where = "."
			}
			fmt.Fprintf(w, "  %s  %s: %s\n", code, manifest.Printable(where), manifest.Printable(f.Detail))
		}
		if more := len(all) - mostOfCode; more > 0 {
			fmt.Fprintf(w, "  %s  and %d more\n", code, more)
		}
	}
}
