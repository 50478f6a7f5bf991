/* The whole initial ram disk: load the modules of /m in order, mount the disk, start systemd. */
#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mount.h>
#include <sys/syscall.h>
#include <unistd.h>

int main(void)
{
	struct dirent **entries;
	int n = scandir("/m", &entries, 0, alphasort);

	for (int i = 0; i < n; i++) {
		char path[300];

		if (entries[i]->d_name[0] == '.')
			continue;
		snprintf(path, sizeof(path), "/m/%s", entries[i]->d_name);
		int file = open(path, O_RDONLY);
		if (syscall(SYS_finit_module, file, "", 0))
			perror(path);
		close(file);
	}
	mount("dev", "/dev", "devtmpfs", 0, 0);
	for (int tries = 0; tries < 100; tries++) {
		if (!mount("/dev/vda", "/newroot", "ext4", MS_NOATIME, 0))
			break;
		usleep(50000);
	}
	mount("/dev", "/newroot/dev", 0, MS_MOVE, 0);
	if (chdir("/newroot") || mount(".", "/", 0, MS_MOVE, 0) || chroot(".") || chdir("/"))
		perror("switch root");
	execl("/sbin/init", "init", (char *)0);
	perror("/sbin/init");
	return 1;
}
