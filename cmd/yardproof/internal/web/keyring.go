package web

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/durable"
)

// How long what opens the page is good for.
const (
	linkLife  = 10 * time.Minute
	phoneLife = 60 * 24 * time.Hour // a season
	maxKeys   = 256                 // of one kind; the oldest makes room
)

// A keyring is a directory of secrets that are good for a while. Of each only the
// SHA-256 hash is kept, as the name of a file that holds its key, so that two programs
// can share a keyring: making a file and removing it are each one step.
type keyring struct {
	dir  string
	life time.Duration
}

// A key is what is known of a secret.
type key struct {
	Name  string    `json:"name,omitempty"` // of the phone that it is for
	Since time.Time `json:"since,omitzero"` // zero: when the file was changed
	seen  time.Time // when the file was changed: of a phone, when it last asked something
}

const maxKey = 1 << 10 // octets of a key's file

func linksOf(state string) *keyring  { return &keyring{filepath.Join(state, "links"), linkLife} }
func phonesOf(state string) *keyring { return &keyring{filepath.Join(state, "phones"), phoneLife} }

// open makes the directory where there is none.
func (k *keyring) open() (*keyring, error) {
	if err := os.MkdirAll(k.dir, 0o700); err != nil {
		return nil, fmt.Errorf("state directory: %w", err)
	}
	return k, nil
}

// add makes a secret of 128 random bits.
func (k *keyring) add(of key) (string, error) {
	secret := make([]byte, 16)
	rand.Read(secret) // never fails
	text := base64.RawURLEncoding.EncodeToString(secret)
	k.sweep()
	content, err := json.Marshal(of)
	if err == nil {
		// A link may be made by another user than the one who serves the page. The
		// directory keeps everybody else out.
		err = durable.Replace(k.file(hash(text)), content, 0o644)
	}
	if err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}
	return text, nil
}

func (k *keyring) file(hash string) string { return filepath.Join(k.dir, hash) }

func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// find returns the hash of a secret that is among keys. Every key is compared, and each
// comparison takes the same time whatever it finds.
func find(keys map[string]key, secret string) (found string, ok bool) {
	want := []byte(hash(secret))
	for h := range keys {
		if subtle.ConstantTimeCompare([]byte(h), want) == 1 {
			found, ok = h, true
		}
	}
	return found, ok
}

// take returns the key of a secret that is still good, and makes it good no more. Of
// several that take one secret at the same moment, one succeeds.
func (k *keyring) take(secret string) (key, bool) {
	keys, err := k.read()
	if err != nil {
		return key{}, false
	}
	h, ok := find(keys, secret)
	return keys[h], ok && os.Remove(k.file(h)) == nil
}

// remove makes a secret good no more, also after a power cut.
func (k *keyring) remove(hash string) error {
	return errors.Join(os.Remove(k.file(hash)), durable.SyncDir(k.dir))
}

// read returns the keys that are still good, by their hash.
func (k *keyring) read() (map[string]key, error) {
	all, err := k.readAll()
	for h, of := range all {
		if !k.fresh(of) {
			delete(all, h)
		}
	}
	return all, err
}

func (k *keyring) readAll() (map[string]key, error) {
	entries, err := os.ReadDir(k.dir)
	if err != nil {
		return nil, fmt.Errorf("state directory: %w", err)
	}
	keys := map[string]key{}
	for _, e := range entries {
		if len(e.Name()) != 2*sha256.Size || strings.Trim(e.Name(), "0123456789abcdef") != "" {
			continue // not ours
		}
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() {
			continue
		}
		of := key{}
		if info.Size() > 0 {
			of = readKey(k.file(e.Name()))
		}
		of.seen = info.ModTime()
		if of.Since.IsZero() {
			of.Since = of.seen
		}
		keys[e.Name()] = of
	}
	return keys, nil
}

// readKey reads a key's file. One that cannot be read has no name, and is as good: the
// hash vouches for it.
func readKey(path string) (of key) {
	f, err := os.Open(path)
	if err != nil {
		return key{}
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxKey))
	if err != nil || json.Unmarshal(text, &of) != nil || checkName(of.Name) != nil {
		return key{}
	}
	return of
}

func (k *keyring) fresh(of key) bool {
	age := time.Since(of.Since)
	return age < k.life && age > -k.life // a clock that was set back does not make a key eternal
}

// sweep removes what has run out, and the oldest above the cap.
func (k *keyring) sweep() {
	keys, err := k.readAll()
	if err != nil {
		return
	}
	for h, of := range keys {
		if !k.fresh(of) {
			os.Remove(k.file(h))
			delete(keys, h)
		}
	}
	for len(keys) >= maxKeys {
		oldest := ""
		for h, of := range keys {
			if oldest == "" || of.Since.Before(keys[oldest].Since) {
				oldest = h
			}
		}
		os.Remove(k.file(oldest))
		delete(keys, oldest)
	}
}
