package archive

import (
	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/verify"
)

// memory is the ledger as verify and mend use it: they speak of copies by the
// names people gave them, the ledger keeps them by id, which a renamed or
// swapped drive keeps too.
type memory struct{ a *Archive }

func (a *Archive) Memory() verify.Memory { return memory{a} }

func (m memory) id(copy string) string { return m.a.ID(copy) }

func (m memory) Held(copy, object string) (map[string]verify.Held, error) {
	return m.a.Ledger.Held(m.id(copy), object)
}

func (m memory) Remember(copy, object string, held []verify.Held) error {
	return m.a.Ledger.Remember(m.id(copy), object, held)
}

// Allowance is how much may be downloaded from a copy now to check it: what its
// config allows for this day, week or month, less what was read in it already, and what
// is left of what its link is allowed. It is
// negative where nothing limits it.
func (a *Archive) Allowance(c config.Copy) (int64, error) {
	return link.Of(c, a.Ledger, a.Now).Rereads()
}
