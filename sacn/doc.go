// Package sacn holds the wire layouts and rules of ANSI E1.31-2018 (streaming
// ACN, "sACN") as pure functions: the data, synchronization and universe
// discovery packets, the multicast group of a universe, the sequence rule. It
// refuses to know about sockets, clocks and logs, so that every rule can be
// tested with bytes alone; sending and receiving live in sacn/source and
// sacn/listener.
//
// Clause and table numbers in comments are those of E1.31-2018. The clause
// texts were not at hand when this was written: layouts agree with an
// independent dissector field by field, rules marked "from memory" do not have
// that support.
//
// # Rules and their tests
//
// Every rule, what shows it for the source and what for the receiver. Names are of
// tests: those of this package, of sacn/source, of sacn/listener and of the program. A dash: the
// rule is not for that side; "none": nothing shows it.
//
//	clause         rule                                        source                        receiver
//	5, 7           layouts, constants, lengths                 TestWorkedPackets             TestDecodeRefuses
//	5.1-5.3, 5.5   others' preambles, identifiers, vectors     -                             TestDecodeRefuses
//	5.6            CID is a UUID                               TestCID                       TestEveryField
//	6.2.2          name: UTF-8, at most 63 octets, NUL         TestName                      TestClean
//	6.2.3          priority 0-200, the higher one wins         TestRefusals                  TestConflicts
//	6.2.4, 11      synchronization after the data it holds     TestSpread                    TestSynchronised
//	6.2.4.1, 11.1  synchronized until 2.5 s without one        -                             TestSynchronised
//	6.2.5          one count a universe, up by one             TestFramesOnTheBeat           TestSequenceAgainstModel
//	6.2.6          three packets with Stream_Terminated        TestGoodbye                   TestStreamTermination
//	6.2.6          an end that was not told is counted         TestEndThatNobodyIsTold       -
//	6.2.6          Preview_Data, Force_Synchronization         TestEveryField                TestTrackerFilters, TestLook
//	6.2.7          universes 1-63999                           TestRefusals                  TestDecodeRefuses
//	6.2.7          the universe is the one in the packet       -                             TestTrackerFilters
//	6.3.3.1        no synchronization address 0                TestEncodeRefuses             TestDecodeRefuses
//	6.3.3.1        synchronization to its own address's group  TestSynchronizedIPv6          TestTrackerFilters
//	6.6.1          not faster than E1.11 refreshes             TestRefusals, TestMaxRate      -
//	6.6.2          suppression of unchanged data               none: every frame is sent      -
//	6.7.1          data loss after 2.5 s                       TestNobodyIsSilentForLong      TestStreamOutage
//	6.7.1.1, 12.2  what has ended is off the list in 20 s      TestDiscoveryPagesOnTheWire   -
//	6.7.2          numbers accepted                            TestRestartIsAccepted (state)  TestAcceptWorked, TestAcceptAll
//	7.2-7.5        vector, type, first address, increment      TestWorkedPackets             TestDecodeRefuses
//	7.6            1 to 513 properties, none read past them    TestLengths                   TestDecodeRefuses
//	7.7            START codes other than 0 are no levels      -                             TestStartCodesApart
//	8, 12          discovery lists, 512 universes a page       TestDiscoveryPages             TestDiscoveryPages (listener)
//	8, 12          the list follows what is sent               TestDiscoveryFollowsReload    -
//	4.3, 12        the list every ten seconds                  TestDiscovery                  TestLook
//	9.1            one of two copies, IPv4 and IPv6            -                             TestBothFamiliesAreOneSender
//	9.2            IGMP, MLD: the kernel's; queries are heard  -                             TestQuerierHeard
//	9.3.1, 9.3.2   the group of a universe                     TestGroups                     TestListener
//	11.2.2         a pause before the synchronization packet   TestSpread                    -
//	-              two senders with one CID are no loss        TestCopiedState               TestTwoSendersWithOneCID
package sacn
