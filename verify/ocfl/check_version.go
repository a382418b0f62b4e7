package ocfl

// The blocks of the versions (section 3.5.3), by themselves and against the
// manifest of the same inventory.

func (c *checker) versions() {
	inv := c.inv
	if !inv.has["versions"] {
		return
	}
	if !inv.objects["versions"] {
		c.note("E045", "versions is not a JSON object")
		return
	}
	var numbers []int
	var highest *version
	for _, v := range inv.versions {
		if v.n == 0 {
			c.note("E046", "versions has the key %s, which no version folder can be called", clip(v.name))
		} else {
			numbers = append(numbers, v.n)
			if highest == nil || v.n > highest.n {
				highest = v
			}
		}
		if !v.object {
			c.note("E047", "the value of version %s is not a JSON object", clip(v.name))
			continue
		}
		c.version(v)
	}
	if len(numbers) > 0 || len(inv.versions) == 0 {
		sequence(numbers, c.note, "its versions")
	}
	switch {
	case !inv.has["head"]:
	case !inv.head.is:
		c.note("E040", "head is not a string")
	case highest != nil && inv.head.value != highest.name:
		c.note("E040", "head is %s, the newest version is %s", clip(inv.head.value), clip(highest.name))
	case c.folder != "" && inv.head.value != c.folder:
		c.note("E040", "head is %s in the folder of %s", clip(inv.head.value), c.folder)
	}
}

func (c *checker) version(v *version) {
	name := clip(v.name)
	for _, key := range []string{"created", "state"} {
		if !v.has[key] {
			c.note("E048", "version %s lacks the key %q", name, key)
		}
	}
	if v.has["created"] && !isTime(v.created.value) {
		c.note("E049", "created %s of version %s is not a date and time of RFC 3339", clip(v.created.value), name)
	}
	if v.has["message"] && !v.message.is {
		c.note("E094", "the message of version %s is not a string", name)
	}
	for _, key := range []string{"message", "user"} {
		if !v.has[key] {
			c.warn("W007", "version %s has no %s", name, key)
		}
	}
	if v.has["user"] {
		c.user(name, v.user)
	}
	if v.has["state"] {
		c.state(name, v)
	}
}

func (c *checker) user(name string, u user) {
	if !u.object || u.name.value == "" {
		c.note("E054", "the user of version %s has no name", name)
		return
	}
	switch {
	case !u.hasAddr:
		c.warn("W008", "the user of version %s has no address", name)
	case !u.address.is:
		c.note("E033", "the address of the user of version %s is not a string", name)
	case !isURI(u.address.value):
		c.warn("W009", "the address %s of the user of version %s is not a URI", clip(u.address.value), name)
	}
}

func (c *checker) state(name string, v *version) {
	if !v.stateObject {
		c.note("E033", "the state of version %s is not a JSON object", name)
		return
	}
	seen := make(map[string]bool, len(v.state))
	var paths []string
	for _, e := range v.state {
		if seen[e.digest] {
			c.note("E033", "the state of version %s has the digest %s twice", name, clip(e.digest))
		}
		seen[e.digest] = true
		if c.inv.objects["manifest"] && !c.inv.byKey[e.digest] {
			c.note("E050", "the digest %s in the state of version %s is not in the manifest", clip(e.digest), name)
		}
		for _, p := range e.paths {
			if code, reason := logicalCodes.fault(p); code != "" {
				c.note(code, "the logical path %s in version %s %s", clip(p), name, reason)
				continue
			}
			paths = append(paths, p)
		}
	}
	conflicts(paths, func(p, other string) {
		c.note(logicalCodes.conflict, "the logical path %s is in version %s beside %s", clip(p), name, clip(other))
	})
}
