package inventory

// The blocks of the versions (section 3.5.3), by themselves and against the
// manifest of the same inventory.

func (c *Checker) versions() {
	inv := c.Inventory
	if !inv.has["versions"] {
		return
	}
	if !inv.Objects["versions"] {
		c.Note("E045", "versions is not a JSON object")
		return
	}
	var numbers []int
	var highest *Version
	for _, v := range inv.Versions {
		if v.N == 0 {
			c.Note("E046", "versions has the key %s, which no version folder can be called", Clip(v.Name))
		} else {
			numbers = append(numbers, v.N)
			if highest == nil || v.N > highest.N {
				highest = v
			}
		}
		if !v.Object {
			c.Note("E047", "the value of version %s is not a JSON object", Clip(v.Name))
			continue
		}
		c.version(v)
	}
	if len(numbers) > 0 || len(inv.Versions) == 0 {
		Sequence(numbers, c.Note, "its versions")
	}
	switch {
	case !inv.has["head"]:
	case !inv.Head.Is:
		c.Note("E040", "head is not a string")
	case highest != nil && inv.Head.Value != highest.Name:
		c.Note("E040", "head is %s, the newest version is %s", Clip(inv.Head.Value), Clip(highest.Name))
	case c.Folder != "" && inv.Head.Value != c.Folder:
		c.Note("E040", "head is %s in the folder of %s", Clip(inv.Head.Value), c.Folder)
	}
}

func (c *Checker) version(v *Version) {
	name := Clip(v.Name)
	for _, key := range []string{"created", "state"} {
		if !v.has[key] {
			c.Note("E048", "version %s lacks the key %q", name, key)
		}
	}
	if v.has["created"] && !isTime(v.Created.Value) {
		c.Note("E049", "created %s of version %s is not a date and time of RFC 3339", Clip(v.Created.Value), name)
	}
	if v.has["message"] && !v.Message.Is {
		c.Note("E094", "the message of version %s is not a string", name)
	}
	for _, key := range []string{"message", "user"} {
		if !v.has[key] {
			c.warn("W007", "version %s has no %s", name, key)
		}
	}
	if v.has["user"] {
		c.user(name, v.User)
	}
	if v.has["state"] {
		c.state(name, v)
	}
}

func (c *Checker) user(name string, u user) {
	if !u.object || u.name.Value == "" {
		c.Note("E054", "the user of version %s has no name", name)
		return
	}
	switch {
	case !u.hasAddr:
		c.warn("W008", "the user of version %s has no address", name)
	case !u.address.Is:
		c.Note("E033", "the address of the user of version %s is not a string", name)
	case !isURI(u.address.Value):
		c.warn("W009", "the address %s of the user of version %s is not a URI", Clip(u.address.Value), name)
	}
}

func (c *Checker) state(name string, v *Version) {
	if !v.stateObject {
		c.Note("E033", "the state of version %s is not a JSON object", name)
		return
	}
	seen := make(map[string]bool, len(v.State))
	var paths []string
	for _, e := range v.State {
		if seen[e.Digest] {
			c.Note("E033", "the state of version %s has the digest %s twice", name, Clip(e.Digest))
		}
		seen[e.Digest] = true
		if c.Inventory.Objects["manifest"] && !c.Inventory.byKey[e.Digest] {
			c.Note("E050", "the digest %s in the state of version %s is not in the manifest", Clip(e.Digest), name)
		}
		for _, p := range e.Paths {
			if code, reason := logicalCodes.fault(p); code != "" {
				c.Note(code, "the logical path %s in version %s %s", Clip(p), name, reason)
				continue
			}
			paths = append(paths, p)
		}
	}
	conflicts(paths, func(p, other string) {
		c.Note(logicalCodes.conflict, "the logical path %s is in version %s beside %s", Clip(p), name, Clip(other))
	})
}
