package listener

import (
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// Every universe there is, with no setting raised. Over IPv6 five thousand: the
// kernel walks a list for each join there, so that 63,999 take a minute or more.
func TestJoinEverything(t *testing.T) {
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	if limit.Cur < 4096 {
		sacntest.Missing(t, "a limit of 4096 open files")
	}
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		universes := upTo(map[bool]int{false: sacn.MaxUniverse, true: 5000}[v6])
		inside(t, p.Far, func() {
			ifi, err := findInterface(sacntest.Interface)
			if err != nil {
				t.Error(err)
				return
			}
			begun := time.Now()
			held, err := join(nil, ifi, v6, universes)
			if err != nil {
				t.Error(err)
				return
			}
			joined := time.Now()
			sockets := len(held.sockets)
			held.close()
			t.Logf("%d groups on %d sockets: joined in %v, left in %v", len(universes), sockets, joined.Sub(begun), time.Since(joined))
		})
	})
}

// Each limit of the system is named with what raises it.
func TestRemedies(t *testing.T) {
	for err, want := range map[error]string{
		unix.EMFILE:  "ulimit -n",
		unix.ENFILE:  "fs.file-max",
		unix.ENOBUFS: "net.ipv4.igmp_max_memberships",
		unix.ENOMEM:  "net.core.optmem_max",
		unix.ENODEV:  "no address of this family",
		unix.EINVAL:  "",
	} {
		if got := remedy(err); !strings.Contains(got, want) || want == "" && got != "" {
			t.Errorf("%v: %q", err, got)
		}
	}
}
