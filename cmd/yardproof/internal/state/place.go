package state

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Place returns the state directory: the flag's, systemd's, the XDG base
// directory's, else the home directory's.
func Place(flag string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if dir := os.Getenv("STATE_DIRECTORY"); dir != "" {
		return filepath.SplitList(dir)[0], nil // systemd separates several by colons
	}
	if dir := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "yardproof"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no place for the state: %w; give --state DIR", err)
	}
	return filepath.Join(home, ".local", "state", "yardproof"), nil
}

// ExistingPlace is Place for those who read what is there already.
func ExistingPlace(flag string) (string, error) {
	dir, err := Place(flag)
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no record yet in %s: prove a string first; --state names the directory that run or burn-in used", dir)
	} else if err != nil {
		return "", fmt.Errorf("the record cannot be read: %w; --state names the directory that run or burn-in used", err)
	}
	return dir, nil
}

// InUse is Place for those who leave word for the transmitter that keeps its state there.
func InUse(flag string) (string, error) {
	dir, err := Place(flag)
	if err != nil {
		return "", err
	}
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return "", fmt.Errorf("there is no state directory %s; --state names that of the transmitter, under systemd /var/lib/yardproof", dir)
	}
	return dir, nil
}
