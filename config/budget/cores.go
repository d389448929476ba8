package budget

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// OnAllCores does n pieces of work, by their numbers from 0, and returns when all are done. Each
// core asks once for what it does its pieces with.
func OnAllCores(n int, worker func() (do func(i int))) {
	var next atomic.Int64
	work := func() {
		do := worker()
		for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
			do(i)
		}
	}
	var others sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) - 1 {
		others.Go(work)
	}
	work()
	others.Wait()
}
