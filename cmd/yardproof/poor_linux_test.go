package main

import (
	"context"
	"flag"
	"net/http"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// quayPlan sends one universe to a group, and one to a controller.
func quayPlan(t *testing.T) string {
	t.Helper()
	return sacntest.File(t, "quay.yaml", "name: Quay\nnetwork: {interface: yard0}\ncontrollers: [{name: boathouse, address: "+sacntest.FarAddr4+"}]\n"+
		"strings:\n- {name: gable, universe: 1, pixels: 50}\n- {name: roof, universe: 2, pixels: 50, controller: boathouse}\n")
}

var stopTime = flag.Duration("stopped", 3*time.Second, "for how long TestStopped stops the program")

// TestStopped stops the program for a while, as a debugger or a full disk of a
// virtual machine does, and lets it go on: what was missed is not sent after.
func TestStopped(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	capture := pair.Capture(t, pair.Far)
	prog := pair.Start(t, pair.Near, "run", quayPlan(t), "--no-scan", "--state", t.TempDir())
	prog.Says(20*time.Second, "sending")
	time.Sleep(500 * time.Millisecond)
	prog.Signal(syscall.SIGSTOP)
	time.Sleep(*stopTime)
	prog.Signal(syscall.SIGCONT)
	goesOn := time.Now()
	time.Sleep(1500 * time.Millisecond)
	prog.Stop()
	before, after := 0, 0
	for _, row := range capture.Fields("acn.dmx.universe == 1", "frame.time_epoch") {
		switch at := epoch(t, row[0]); {
		case at.Before(goesOn):
			before++
		case at.Before(goesOn.Add(time.Second)):
			after++
		}
	}
	if before == 0 || after == 0 || after > 45 {
		t.Errorf("%d packets before, %d in the second after it went on, want at most 41 and some", before, after)
	}
	if _, skipped := counts(t, prog.Stderr()); skipped < int(35*stopTime.Seconds()) {
		t.Errorf("%d frames were counted as skipped in %v: %s", skipped, *stopTime, prog.Stderr())
	}
	saidOnce(t, prog, 1, "frames were late by more than a period")
}

// TestTwoInterfacesOneSubnet gives the machine a second interface with an address
// of the same subnet, and the better route. Packets leave by the one that was named.
func TestTwoInterfacesOneSubnet(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	for _, line := range []string{
		"link add yard1 type veth peer name yard9", "link set yard1 up", "link set yard9 up", "addr add 10.77.0.8/24 dev yard1",
		"route del 10.77.0.0/24 dev yard0", "route add 10.77.0.0/24 dev yard0 metric 500", "route replace 239.255.0.0/16 dev yard1",
	} {
		pair.Run(t, pair.Near, "ip "+line)
	}
	capture := pair.Capture(t, pair.Far)
	prog := pair.Start(t, pair.Near, "run", quayPlan(t), "--no-scan", "--state", t.TempDir(), "--for", "1500ms")
	prog.Ends(20 * time.Second)
	got := map[string]int{}
	for _, row := range capture.Fields("acn.dmx.universe && !icmp", "acn.dmx.universe", "ip.src") {
		got[row[0]+" from "+row[1]]++
	}
	if got["1 from "+sacntest.NearAddr4] < 20 || got["2 from "+sacntest.NearAddr4] < 20 || len(got) != 2 {
		t.Errorf("at the far end: %v; it said %s", got, prog.Stderr())
	}
}

// TestNoDescriptors lets strangers take all descriptors that the program may have:
// frames go on, and there is an answer again once they have gone.
func TestNoDescriptors(t *testing.T) {
	t.Parallel() // it waits more than it works
	sacntest.NeedTool(t, "prlimit")
	pair := sacntest.NewPair(t)
	prog := pair.Start(t, pair.Near, "run", quayPlan(t), "--no-scan", "--state", t.TempDir())
	scrape := func() string { return pair.Get(t, pair.Near, "http://"+address+"/metrics") }
	sent := func() float64 { v, _ := metric(scrape(), `yardproof_frames_sent_total{plan="Quay"}`); return v }
	sacntest.Eventually(t, 20*time.Second, "sending", func() bool { return sent() > 0 })
	before := sent()
	fds, err := os.ReadDir("/proc/" + strconv.Itoa(prog.Pid()) + "/fd")
	if err != nil {
		t.Fatal(err)
	}
	sacntest.Output(t, exec.Command("prlimit", "--pid", strconv.Itoa(prog.Pid()), "--nofile="+strconv.Itoa(len(fds)+4)))
	var conns []interface{ Close() error }
	for range 40 {
		if c, err := pair.Dial(context.Background(), pair.Near, "tcp", address); err == nil {
			conns = append(conns, c)
		}
	}
	time.Sleep(1500 * time.Millisecond)
	for _, c := range conns {
		c.Close()
	}
	client := pair.Client(t, pair.Near)
	sacntest.Eventually(t, 30*time.Second, "dark", func() bool {
		resp, err := client.Post("http://"+address+"/api/dark", "application/json", strings.NewReader("{}"))
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	})
	if after := sent(); after-before < 20 {
		t.Errorf("%v frames before, %v after", before, after)
	}
	prog.Stop()
}

// TestPoorest runs the program as nobody, with a root that is read-only, and without /proc.
func TestPoorest(t *testing.T) {
	t.Parallel() // it waits more than it works
	sacntest.NeedRoot(t)
	sacntest.NeedTool(t, "setpriv", "unshare")
	ctx, cancel := context.WithCancel(context.Background())
	// What is mounted is seen by this process alone.
	const poor = `mount -t tmpfs -o mode=755 tmpfs /mnt; cp "$0" /mnt/yardproof; mkdir -m 777 /mnt/state; mount -t tmpfs -o ro tmpfs /proc; mount -o remount,bind,ro /
		exec setpriv --reuid=65534 --regid=65534 --clear-groups --bounding-set=-all --inh-caps=-all --no-new-privs /mnt/yardproof "$@"`
	cmd := exec.CommandContext(ctx, "unshare", "-m", "sh", "-ec", poor, os.Args[0], "run", "--demo", "--no-scan", "--state", "/mnt/state", "--http", "127.0.0.1:0")
	cmd.Env = []string{sacntest.AsProgram + "=1"}
	cmd.Dir = "/"
	prog := sacntest.Started(t, cmd, cancel)
	at := serving(t, prog)
	if code, got := ask(t, "POST", at+"/api/dark", "{}"); code != http.StatusOK || !strings.Contains(got, `"kept":true`) {
		t.Errorf("dark is answered %d %s", code, got)
	}
	if code, got := ask(t, "POST", at+"/api/notes", `{"note":"dry"}`); code != http.StatusCreated {
		t.Errorf("a note is answered %d %s", code, got)
	}
	code, got := ask(t, "GET", at+"/metrics", "")
	if _, told := metricSum(t, got, "interface_transmitted_packets_total"); code != http.StatusOK || told {
		t.Errorf("the metrics are answered %d, and tell what only /proc knows: %v", code, told)
	}
	prog.Signal(syscall.SIGTERM)
	if code := prog.Wait(20 * time.Second); code != 0 || !strings.Contains(prog.Stderr(), "the streams are terminated") {
		t.Errorf("exit %d: %s", code, prog.Stderr())
	}
	if frames, _ := counts(t, prog.Stderr()); frames == 0 {
		t.Error("no frame was sent")
	}
}
