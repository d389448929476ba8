//go:build unix

package durable

import "os"

// SyncDir flushes a directory: a new file's name is data of its directory.
func SyncDir(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
