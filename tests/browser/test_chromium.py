"""How the browser tests come by their browser, shown on made-up machines without one."""

import pytest

from tests.browser import chromium

OWN = "/own/chromium"
SYSTEM = "/usr/bin/chromium"


class MadeUpMachine(chromium.Machine):
    """A machine that keeps a list of the commands it was given, and runs none."""

    def __init__(
        self, *, there=(), on_path=None, brings=None, root=True, debian=True, broken=()
    ) -> None:
        self.there = set(there)
        self.on_path = on_path or {}
        self.brings = brings or {}
        self.root, self.debian = root, debian
        self.broken = set(broken)
        self.commands = []
        self.limits_s = []

    def playwright_chromium(self):
        """Return the one place where Playwright's own may lie."""
        return OWN

    def which(self, name):
        """Find only what was put on the path."""
        return self.on_path.get(name)

    def starts(self, executable):
        """Start what is there and not broken."""
        return executable in self.there - self.broken

    def run(self, command, limit_s):
        """Note the command; let it bring what it was said to bring, or fail."""
        self.commands.append(command)
        self.limits_s.append(limit_s)
        if command not in self.brings:
            return "no network"
        path = self.brings[command]
        if path:
            self.there.add(path)
            self.on_path.setdefault("chromium", path)
        return ""

    def is_root(self):
        """Say what the test said."""
        return self.root

    def is_debian(self):
        """Say what the test said."""
        return self.debian


def test_playwrights_own_chromium_comes_first():
    """Playwright's own Chromium is driven where both are there, and nothing is installed."""
    machine = MadeUpMachine(there=[OWN, SYSTEM], on_path={"chromium": SYSTEM})

    assert chromium.launch_options(machine)["executable_path"] == OWN
    assert machine.commands == []


@pytest.mark.parametrize("name", ["chromium", "chromium-browser"])
def test_system_chromium_stands_in(name):
    """The system's Chromium is driven, under either name, where Playwright's is missing."""
    machine = MadeUpMachine(there=[SYSTEM], on_path={name: SYSTEM})

    assert chromium.launch_options(machine)["executable_path"] == SYSTEM
    assert machine.commands == []


def test_chromium_that_does_not_start_is_passed_over():
    """A Chromium that lacks its libraries gives way to one that starts."""
    machine = MadeUpMachine(there=[OWN, SYSTEM], on_path={"chromium": SYSTEM}, broken=[OWN])

    assert chromium.launch_options(machine)["executable_path"] == SYSTEM


def test_playwright_installs_first():
    """Where no browser is there, Playwright's download is tried before the system's packages."""
    machine = MadeUpMachine(brings={chromium.INSTALL_WITH_PLAYWRIGHT: OWN})

    assert chromium.launch_options(machine)["executable_path"] == OWN
    assert machine.commands == [chromium.INSTALL_WITH_PLAYWRIGHT]
    assert machine.limits_s == [chromium.PLAYWRIGHT_LIMIT_S]


def test_debian_package_comes_second():
    """Without Playwright's download, root on Debian installs the package and uses it."""
    update, install = chromium.INSTALL_WITH_APT
    machine = MadeUpMachine(brings={update: None, install: SYSTEM})

    assert chromium.launch_options(machine)["executable_path"] == SYSTEM
    assert machine.commands == [chromium.INSTALL_WITH_PLAYWRIGHT, update, install]


@pytest.mark.parametrize(("root", "debian"), [(False, True), (True, False)])
def test_packages_are_installed_by_root_on_debian_only(root, debian):
    """Nobody else's system is changed: there the tests stop with the way to install."""
    machine = MadeUpMachine(root=root, debian=debian)

    with pytest.raises(chromium.NoChromiumError, match="playwright install --with-deps chromium"):
        chromium.launch_options(machine)
    assert machine.commands == [chromium.INSTALL_WITH_PLAYWRIGHT]


def test_message_tells_what_was_tried():
    """Where nothing can be installed, the message holds each command that failed and why."""
    machine = MadeUpMachine()

    with pytest.raises(chromium.NoChromiumError) as told:
        chromium.launch_options(machine)
    assert "-m playwright install chromium\nno network" in str(told.value)
    assert "apt-get update -q\nno network" in str(told.value)
    assert "apt-get install" in str(told.value)


def test_install_that_brings_no_browser_is_told():
    """An install that ends well but brings nothing that starts is not taken for a browser."""
    machine = MadeUpMachine(brings={chromium.INSTALL_WITH_PLAYWRIGHT: None}, debian=False)

    with pytest.raises(chromium.NoChromiumError, match="ended well, but no Chromium starts"):
        chromium.launch_options(machine)


@pytest.mark.parametrize("root", [True, False])
def test_sandbox_is_off_for_root_only(root):
    """Chromium refuses its sandbox to root; everybody else keeps it."""
    machine = MadeUpMachine(there=[OWN], root=root)

    arguments = chromium.launch_options(machine)["args"]
    assert ("--no-sandbox" in arguments) is root
    assert set(chromium.QUIET) <= set(arguments)


def test_this_machine_reports_trouble_as_text():
    """A command that is missing, fails or does not end gives a sentence and no exception."""
    machine = chromium.Machine()

    assert machine.run(("true",), 10) == ""
    assert "exit status 1" in machine.run(("false",), 10)
    assert "no-such-program" in machine.run(("no-such-program",), 10)
    assert machine.run(("sh", "-c", "echo from http://a.test/b; false"), 10) == "from (address)"
    assert machine.run(("sleep", "5"), 0.1) == "no end after 0.1 s"
