package source

import (
	"os"
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

// ownThread gives the calling goroutine a thread that ends with it, and tells the
// kernel not to delay its timers by the 50 us that threads get by default.
func ownThread() {
	runtime.LockOSThread()
	unix.Prctl(unix.PR_SET_TIMERSLACK, 1, 0, 0, 0) // refused: a little later then
}

// realtimePriority is the lowest of 1-99: it goes before all ordinary work, and
// after the kernel's own threads, whose help sending needs.
const realtimePriority = 1

// realtime lets the calling thread run before all ordinary ones of this host
// (SCHED_FIFO); threads that it might start do not inherit that.
func realtime() error {
	return os.NewSyscallError("sched_setattr", unix.SchedSetAttr(0, &unix.SchedAttr{
		Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Flags: unix.SCHED_FLAG_RESET_ON_FORK, Priority: realtimePriority,
	}, 0))
}

// newSleeper returns a sleepUntil on clock_nanosleep with an absolute time. The
// kernel's CLOCK_MONOTONIC is what Go's monotonic times count as well, from
// another zero; it stands still while the machine is suspended.
func newSleeper() func(time.Time) {
	var zero unix.Timespec
	base := time.Now()
	unix.ClockGettime(unix.CLOCK_MONOTONIC, &zero)
	offset := zero.Nano()
	return func(t time.Time) {
		until := unix.NsecToTimespec(offset + t.Sub(base).Nanoseconds())
		for unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &until, nil) == unix.EINTR {
		}
	}
}
