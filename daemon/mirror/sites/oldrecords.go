package sites

import "linecamp/daemon/ledger"

// ForgetRecords drops the records set aside for objects of which no copy lacks
// a version any more.
func (c *Catalogue) ForgetRecords(l *ledger.Ledger) error {
	slugs, err := c.Cache.WithOldRecords()
	if err != nil || len(slugs) == 0 {
		return err
	}
	log := c.Log()
	lacked := map[string]bool{}
	for _, on := range c.Copies {
		committed, err := l.Committed(on.ID)
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
		if err := c.Cache.ForgetRecords(slug); err != nil {
			return err
		}
	}
	return nil
}
