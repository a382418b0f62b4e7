package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"slices"
)

// storageRoot is a storage root being checked (section 4).
type storageRoot struct {
	*validator
	spec    inventory.Spec // that it declares
	notes   notes
	foreign bool     // it has extensions that are not known
	found   []string // the objects, by where they lie
	layout  layout
}

func (s *storageRoot) note(code, path, format string, args ...any) {
	s.notes.add(s.spec, code, path, format, args...)
}

// storageRoot checks a root and all objects in it.
func (v *validator) storageRoot(ctx context.Context, entries []Entry, r *Report) error {
	s := &storageRoot{validator: v}
	s.spec, _ = rootDeclaration.check(ctx, v.files, "", entries, s.note)
	if err := s.top(ctx, entries); err != nil {
		return err
	}
	if err := v.measure(ctx, s.found); err != nil {
		return err
	}
	slices.Sort(s.found)
	ids := map[string]string{}
	for _, dir := range s.found {
		o, err := v.object(ctx, dir, s)
		if err != nil {
			return err
		}
		if o.id != "" {
			if other, ok := ids[o.id]; ok {
				o.note("E037", inventoryName, "the object in %s has the same id", other)
				s.note("E083", dir, "one id should lead to one place, and %s leads here and to %s", inventory.Clip(o.id), other)
			} else {
				ids[o.id] = dir
			}
			s.layout.check(o.id, dir, s.note)
		}
		r.Objects = append(r.Objects, o.report())
	}
	r.Errors, r.Warnings = s.notes.sorted()
	r.Omitted = s.notes.omitted
	return ctx.Err()
}

// top looks at everything directly in the root (section 4.1). Files there may
// be anything.
func (s *storageRoot) top(ctx context.Context, entries []Entry) error {
	for _, e := range entries {
		if s.odd("", e, e.Name, s.note) {
			continue
		}
		switch {
		case e.Kind == File && e.Name == layoutName:
			var err error
			if s.layout, err = s.readLayout(ctx); err != nil {
				return err
			}
		case e.Kind == File:
		case e.Name == extensionsName:
			var err error
			if s.foreign, err = s.checkExtensions(ctx, "", rootExtensions, true, s.note); err != nil {
				return err
			}
		default:
			if err := s.branch(ctx, e.Name); err != nil {
				return err
			}
		}
	}
	s.mixed()
	return nil
}
