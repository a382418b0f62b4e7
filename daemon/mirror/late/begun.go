package late

import (
	"context"
	"fmt"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Begun reports whether a bucket has, under version n of an object that is not committed
// there, content that this version does not name: the beginning of another one.
func Begun(ctx context.Context, root store.Root, inv *manifest.Inventory, n int) (bool, error) {
	named, slug := inv.Paths(n), inv.Slug()
	for info, err := range root.List(ctx, store.VersionFile(slug, n, "content")) {
		if err != nil {
			return false, fmt.Errorf("listing version %d of %s: %w", n, slug, err)
		}
		path := strings.TrimPrefix(info.Key, slug+"/")
		if _, is := named[path]; !is && store.CheckContentPath(path, n) == nil {
			return true, nil
		}
	}
	return false, nil
}
