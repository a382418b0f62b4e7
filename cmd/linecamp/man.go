//go:build man

package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// A build with the tag man writes the manual's pages, from the commands' own help.
func init() {
	dressings = append(dressings, func(root *cobra.Command) {
		var into, day string
		cmd := &cobra.Command{Use: "man", Hidden: true, Args: noArgs, RunE: func(*cobra.Command, []string) error { return manual(root, into, day) }}
		cmd.Flags().StringVar(&into, "into", "", "the folder to write to")
		cmd.Flags().StringVar(&day, "day", "", "the day that stands on each page")
		root.AddCommand(cmd)
	})
}

func manual(root *cobra.Command, into, day string) error {
	date, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return err
	}
	root.DisableAutoGenTag = true
	version := thisVersion().Version
	if err := doc.GenManTree(root, &doc.GenManHeader{Section: "1", Date: &date, Source: "linecamp " + version, Manual: "linecamp"}, into); err != nil {
		return err
	}
	pages, err := filepath.Glob(filepath.Join(into, "*.1"))
	for _, page := range pages {
		b, rerr := os.ReadFile(page)
		// The library calls options by a word that no page of ours has.
		text := strings.ReplaceAll(string(b), " [flags]", "")
		err = errors.Join(err, rerr, os.WriteFile(page, []byte(text), 0o644))
	}
	return err
}
