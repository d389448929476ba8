package main

import (
	"flag"
	"os"
	"runtime"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

var starts = flag.Int("starts", 5, "how often TestNothingLeaks starts and stops the program")

// TestNothingLeaks starts and stops the whole program within the test, and counts
// what is left of it.
func TestNothingLeaks(t *testing.T) { // not parallel: others would be counted
	at := sacntest.Unused(t)
	state := t.TempDir()
	once := func() {
		t.Helper()
		if code, _, said := call(t, "run", "--demo", "--no-scan", "--state", state, "--http", at, "--for", "100ms"); code != 0 {
			t.Fatalf("exit %d: %s", code, said)
		}
	}
	descriptors := func() int {
		t.Helper()
		entries, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			t.Fatal(err)
		}
		return len(entries)
	}
	heap := func() uint64 {
		runtime.GC()
		runtime.GC() // what has a finalizer goes the second time
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	once()
	once()
	goroutines, files, octets := runtime.NumGoroutine(), descriptors(), heap()
	for range *starts {
		once()
	}
	sacntest.Eventually(t, 20*time.Second, "as many goroutines and descriptors as before", func() bool {
		runtime.GC()
		return runtime.NumGoroutine() <= goroutines && descriptors() <= files
	})
	after := heap()
	t.Logf("%d starts: %d goroutines, then %d; %d descriptors, then %d; %d KiB of heap, then %d",
		*starts, goroutines, runtime.NumGoroutine(), files, descriptors(), octets>>10, after>>10)
	if after > octets+2<<20 {
		t.Errorf("the heap grew from %d to %d octets in %d starts", octets, after, *starts)
	}
}
