package source

import "testing"

// Whatever the kernel says, reading it stays inside.
func FuzzAttributes(f *testing.F) {
	f.Add([]byte{8, 0, 4, 0, 0, 4, 0, 0})
	f.Add([]byte{5, 0, 1, 0, 7, 0, 0, 0, 4, 0, 2, 0})
	f.Add([]byte{0, 0, 0, 0})
	f.Add([]byte{255, 255, 1, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		total := 0
		for _, v := range attributes(b) {
			total += len(v)
		}
		if total > len(b) {
			t.Errorf("%d octets of attributes in %d", total, len(b))
		}
	})
}
