package mirror

import "fmt"

// keepRecord sets the record of the version before aside, which the next one
// replaces in the cache: copies that are away still have to get it. Every other
// content can be had from the working folder or waits for the copy that has it.
func (m *making) keepRecord() error {
	if m.old == nil || m.old.Remade() || len(m.r.copies) < 2 {
		return nil
	}
	if err := m.r.Cache.KeepRecord(m.st.Slug, m.old.Raw); err != nil {
		return fmt.Errorf("caching the record of %s: %w", m.st.Slug, err)
	}
	return nil
}

// forgetRecords drops the records set aside for objects of which no copy lacks
// a version any more.
func (r *round) forgetRecords() error {
	slugs, err := r.Cache.WithOldRecords()
	if err != nil || len(slugs) == 0 {
		return err
	}
	log, _, _ := r.look()
	lacked := map[string]bool{}
	for _, c := range r.copies {
		committed, err := r.Ledger.Committed(c.ID)
		if err != nil {
			return err
		}
		for _, slug := range slugs {
			if committed[slug] < log.Head(slug) {
				lacked[slug] = true
			}
		}
	}
	for _, slug := range slugs {
		if lacked[slug] {
			continue
		}
		if err := r.Cache.ForgetRecords(slug); err != nil {
			return err
		}
	}
	return nil
}
