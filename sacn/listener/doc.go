// Package listener is the far end of E1.31: it joins universes and says what
// arrived, measured where the light is. A [Tracker] does the counting as a pure
// function of packets and their arrival times; around it are the sockets
// ([Listener]), and what a transmitter uses to watch itself: [Scan] before the
// first frame and [Watch] while it runs, for other sources; [Tap], for its own
// stream on another interface; [Ping], for the controllers.
//
// The package refuses to know about plans, strings and pixels: universes are
// numbers here, and slots are never looked at.
package listener
