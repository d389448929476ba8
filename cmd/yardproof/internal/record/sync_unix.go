//go:build unix

package record

import "os"

// syncDir flushes a directory: a new file's name is data of its directory.
func syncDir(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
