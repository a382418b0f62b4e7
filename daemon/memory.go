package daemon

import "linecamp/verify"

// memory is the ledger as verify and mend use it: they speak of copies by the
// names people gave them, the ledger keeps them by id, which a renamed or
// swapped drive keeps too.
type memory struct{ a *Archive }

func (a *Archive) memory() verify.Memory { return memory{a} }

func (m memory) id(copy string) string { return m.a.id(copy) }

func (m memory) Held(copy, object string) (map[string]verify.Held, error) {
	return m.a.ledger.Held(m.id(copy), object)
}

func (m memory) Remember(copy, object string, held []verify.Held) error {
	return m.a.ledger.Remember(m.id(copy), object, held)
}
