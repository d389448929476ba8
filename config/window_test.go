package config

import (
	"testing"
	"time"
)

func TestWindow(t *testing.T) {
	for _, c := range []struct {
		window, at string
		inside     bool
	}{
		{"16:00-22:00", "15:59", false}, {"16:00-22:00", "16:00", true}, {"16:00-22:00", "21:59", true}, {"16:00-22:00", "22:00", false},
		{"22:00-02:00", "23:00", true}, {"22:00-02:00", "01:59", true}, {"22:00-02:00", "02:00", false}, {"22:00-02:00", "12:00", false},
	} {
		w, err := parseWindow(c.window)
		if err != nil {
			t.Fatal(err)
		}
		at, _ := time.Parse("15:04", c.at)
		if w.Contains(at) != c.inside {
			t.Errorf("%s contains %s: %v", c.window, c.at, !c.inside)
		}
	}
	if !(Window{}).Contains(time.Time{}) {
		t.Error("the zero window is not the whole day")
	}
	for _, s := range []string{"16-22", "16:00", "25:00-26:00", "16:00-16:00", "-", "", "6:00-7:00", "16:00-24:00"} {
		if _, err := parseWindow(s); err == nil {
			t.Errorf("%q was taken", s)
		}
	}
}
