package ledger

import "syscall"

// Kinds of network file systems (linux/magic.h and the kernel's fs/smb), whose
// locks cannot be relied on.
const (
	nfs  = 0x6969
	smb  = 0x517b
	cifs = 0xff534d42
	smb2 = 0xfe534d42
	ncp  = 0x564c
	afs  = 0x5346414f
)

// onShare says whether a folder lies on a network share.
func onShare(folder string) bool {
	var s syscall.Statfs_t
	return syscall.Statfs(folder, &s) == nil && network(uint32(s.Type))
}

func network(kind uint32) bool {
	switch kind {
	case nfs, smb, cifs, smb2, ncp, afs:
		return true
	}
	return false
}
