package sacntest

import (
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// File writes a file into a directory of its own, and returns its path.
func File[T ~string | ~[]byte](t testing.TB, name string, text T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	Write(t, path, text)
	return path
}

// Write writes a file, in the place of what it held.
func Write[T ~string | ~[]byte](t testing.TB, path string, text T) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Read returns what a file holds.
func Read(t testing.TB, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// JSON reads one value.
func JSON[T ~string | ~[]byte](t testing.TB, text T, into any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), into); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
}

// Printed returns what is written.
func Printed(t testing.TB, write func(io.Writer) error) string {
	t.Helper()
	var text strings.Builder
	if err := write(&text); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// Output runs a program to its good end, and returns what it printed and said.
func Output(t testing.TB, cmd *exec.Cmd) string {
	t.Helper()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%q: %v: %s", cmd.Args, err, out)
	}
	return string(out)
}
