package source

import (
	"runtime"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The thread that sends has a short slice, and what else it was set to it keeps. Kernels
// before 6.12 know no slice: nought is read back there.
func TestSenderHasShortSlice(t *testing.T) {
	tests := []struct {
		name   string
		policy uint32
		nice   int32
		short  bool
	}{
		{"ordinary", unix.SCHED_NORMAL, 0, true},
		{"nice", unix.SCHED_NORMAL, 5, true},
		{"idle", unix.SCHED_IDLE, 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			runtime.LockOSThread() // never unlocked: the thread ends with the goroutine
			attr := unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: tt.policy, Nice: tt.nice}
			if tt.short {
				attr.Runtime = uint64(shortSlice)
			}
			if err := unix.SchedSetAttr(0, &attr, 0); err != nil {
				t.Fatal(err)
			}
			want, err := unix.SchedGetAttr(0, 0)
			if err != nil {
				t.Fatal(err)
			}
			attr.Runtime = 0
			if err := unix.SchedSetAttr(0, &attr, 0); err != nil {
				t.Fatal(err)
			}
			newSleeper(true)(time.Now().Add(2 * time.Millisecond))
			if got, err := unix.SchedGetAttr(0, 0); err != nil || *got != *want {
				t.Errorf("%+v (%v), want %+v", *got, err, *want)
			}
		})
	}
}

// A thread that no longer sends gets the kernel's slice again.
func TestSliceIsGivenBack(t *testing.T) {
	runtime.LockOSThread()
	before, err := unix.SchedGetAttr(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	setSlice(0, shortSlice)
	setSlice(unix.Gettid(), 0)
	if got, err := unix.SchedGetAttr(0, 0); err != nil || *got != *before {
		t.Errorf("%+v (%v), want %+v", *got, err, *before)
	}
}
