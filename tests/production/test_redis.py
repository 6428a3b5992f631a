"""Is a Redis found or installed for the tests, and never done without?"""

import pytest

from tests.redis import INSTALL_WITH_APT, NoRedisError, find_program, install_program


class MadeUp:
    """A computer on which apt-get brings a Redis, or not."""

    def __init__(self, root, apt_works=True):
        """Begin without a Redis."""
        self.root, self.apt_works, self.ran = root, apt_works, []

    def which(self, name):
        """Return where a program would be, once it is installed."""
        return f"/made-up/{name}" if self.installed() else None

    def starts(self, path):
        """Only what is installed starts."""
        return self.installed()

    def installed(self):
        """Tell whether apt-get has been there."""
        return self.apt_works and INSTALL_WITH_APT[-1] in self.ran

    def run(self, command, limit_s):
        """Write down a command."""
        self.ran.append(command)
        return "" if self.apt_works else "no such package"

    def is_root(self):
        """Tell who runs this."""
        return self.root

    def is_debian(self):
        """Apt-get is there."""
        return True


def test_redis_is_installed_where_that_is_allowed():
    """As root on Debian, the system's package is installed and used."""
    machine = MadeUp(root=True)
    assert find_program(machine) is None

    assert install_program(machine) == "/made-up/redis-server"


@pytest.mark.parametrize("machine", [MadeUp(root=False), MadeUp(root=True, apt_works=False)])
def test_missing_redis_fails_and_says_how_to_get_it(machine):
    """Where none can be installed the tests fail with the command that would help."""
    with pytest.raises(NoRedisError, match="apt-get install redis-server"):
        install_program(machine)
