// Package journal is the durable log between intake and everything that reads
// telemetry: entries in one order, documents of which the last value is kept,
// and record logs that are never shortened. It moves bytes and subjects and
// never looks inside them. It is kept by NATS JetStream: a server started
// inside the process (Options.Dir, no listening port), or one outside
// (Options.URL), by the same code.
//
// # Invariant
//
// Entries of one source are stored once, in rising order of their sequence and
// without a hole: when an entry could not be stored, no later one of that
// source is, until the caller has asked LastSequence where to go on.
//
// # What Wait promises
//
// JetStream acknowledges an entry once write(2) took it, which is not yet a
// disk. So that a receipt means a disk, the journal inside the process syncs the
// block files itself and in groups, and completes a Pending only after a sync
// that began after its acknowledgement:
//
//	Append ──► publish ──► acknowledged ──► fsync of the block file ──► Wait returns
//	             │              └─ followers see the entry from here on
//	             └─ at most 64 MiB and 4,096 entries on the way, then Append blocks
//
//	journal                 a killed process costs    a power cut costs
//	inside, SyncEvery >= 0  nothing acknowledged      nothing receipted
//	inside, SyncEvery < 0   nothing acknowledged      receipted entries of the last 10 s
//	outside                 nothing receipted         what that server's sync_interval (2 min
//	                                                  unless set) and replicas leave open
//
// The figure of 10 s assumes that the disk keeps up with the server's own sync
// timer, and all of it that fsync of the disk is honest. After a failed sync
// nothing is receipted until the journal is opened anew: what such a sync left
// behind cannot be known (ErrStorage).
//
// Followers do not wait for the disk, so that an alarm does not hang on a slow
// one. After a power cut they may have seen more than the journal still has; see
// RolledBackError. A journal inside the process loses its end only before Open
// returns: whoever compares his position with Bounds before anything is appended
// misses nothing. A server outside can lose it under its followers, who look each
// time the connection is another.
//
// # Form
//
//	stream            subject                              kept
//	hawser-telemetry  hawser.telemetry.<berth>.<source>    MaxBytes, MaxAge, oldest dropped
//	hawser-documents  hawser.document.<bucket>.<key>       the last one of each subject
//	                  hawser.document.owner.journal        who owns a journal outside (owner.go)
//	hawser-records    hawser.record.<log>                  all, never deleted
//
// A position is the JetStream sequence of an entry. The payload of a telemetry
// message is Entry.Data as given; the rest is in the subject and one header:
//
//	Hawser-Batch: <source sequence> <plan or -> <refused columns, comma between, or ->
//
// Beside the server's files the folder holds journal.lock, held while open, and
// journal.mark, one line rewritten after each sync:
//
//	hawser-journal 1 position <20 digits> block <10 digits> missing <10 digits> state <open|shut>
//
// The mark is written after the sync and not synced itself, so what it claims
// is on disk; Open compares it with what the server recovered (Recovery).
//
// # Reading
//
// Followers share their reading. The stream is read in pages of 64 positions by
// as few consumers as there are places being read; a page in memory serves every
// follower that passes, so fifty followers of one berth each cost hardly more
// than one follower of all. (A JetStream consumer with a subject filter walks
// over every message between its own, fifty of them fifty times.)
//
//	JetStream ──► scan ──► page 64..127 (full)   ◄── follower of jetty-1, behind
//	              scan ──► page 640..703 (fills) ◄── followers of jetty-2, all
package journal
