// Package durable puts files on disk so that a power cut leaves the old content or
// the new, never a part. It refuses to know what is in them. (The libraries for it
// stop short of flushing the directory, so the new name may be lost.)
package durable

import (
	"errors"
	"os"
	"path/filepath"
)

// Replace writes a file as a whole, with these permissions. It is flushed to disk,
// its name included, when Replace returns nil; else the old file is as it was.
func Replace(path string, data []byte, mode os.FileMode) error {
	dir, name := filepath.Split(path)
	f, err := os.CreateTemp(dir, "."+name+".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // fails once it has been renamed
	_, err = f.Write(data)
	if err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return SyncDir(filepath.Dir(path))
}
