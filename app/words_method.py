r"""Which equations does the Method page show, in which words, and where do they come from?

One record for each, in the order of the page. The formulas are written as `app.mathml` reads them;
`module` names where the code is whose docstring cites the same sources.
"""

from dataclasses import dataclass

OURS = "Our own; no publication."


@dataclass(frozen=True)
class Equation:
    """One step of the model.

    Parameters
    ----------
    title : str
        What it answers.
    formulas : tuple of str
        Formulas, one line each.
    words : str
        What they say, in plain sentences.
    symbols : tuple of (str, str)
        Each letter, and what it stands for.
    source : str
        Who says so.
    module : str
        The module of the model that works it out.
    """

    title: str
    formulas: tuple[str, ...]
    words: str
    symbols: tuple[tuple[str, str], ...]
    source: str
    module: str


@dataclass(frozen=True)
class Chapter:
    """Equations that belong together.

    Parameters
    ----------
    key : str
        Its anchor.
    title, opening : str
        Heading, and the sentence below it.
    equations : tuple of Equation
        The steps.
    """

    key: str
    title: str
    opening: str
    equations: tuple[Equation, ...]


_BCMP = (
    "F. Baskett, K. M. Chandy, R. R. Muntz and F. G. Palacios, Open, closed, and mixed networks of "
    "queues with different classes of customers, J. ACM 22(2), 1975, 248-260, "
    "doi:10.1145/321879.321887"
)

CHAPTERS: tuple[Chapter, ...] = (
    Chapter(
        "desktop", "What one desktop asks for",
        "A session has a role; a role is a habit of activities. In each activity the session asks "
        "for application work and, while its picture moves, for display encoding.",
        (
            Equation(
                "Application work and display encoding",
                (
                    r"u_{\app} = \text{burst} \cdot \text{bursts per second}",
                    r"u_{\enc} = f \, \frac{\text{pixels}}{1920 \times 1080}"
                    r" \, [ \, g \, e_{\card} + (m - g) \, e_{\CPU} \, ]",
                    r"\text{pixel rate} = \text{pixels} \cdot f \cdot \text{changed share}",
                ),
                "Work is counted in seconds of a reference core. The cost of a frame is stated for "
                "one display of 1920x1080 and grows with the pixels. All displays in motion of a "
                "desktop are encoded one after the other, by one thread. With a single vCPU that "
                "thread runs the applications too.",
                (
                    (r"u", "CPU work per second; a source never gets more than one core"),
                    (r"f", "frames per second that the picture wants"),
                    (r"m", "displays in motion: one, or all of the desktop's"),
                    (r"g", "those of them that the card encodes"),
                    (r"e_{\CPU}, e_{\card}", "CPU work of one frame, without card and with card"),
                ),
                "Our own; one encoding thread for each desktop is common practice, no source.",
                "model.hosts",
            ),
        ),
    ),
    Chapter(
        "capacity", "What one host delivers",
        "The more bursts of work are runnable at once, the more cores are busy, the lower their "
        "clock, and the more second threads add their smaller part.",
        (
            Equation(
                "Capacity curve",
                (
                    r"\mu(j) = r \, (1 - \rho) \, b(\min(j, c)) \,"
                    r" [ \, \min(j, c) + y \, \min(\max(j - c, 0), \, (t - 1) \, c) \, ]",
                    r"b(m) = \tau - (\tau - 1) \, \frac{m - 1}{c - 1}, \; \; C = \mu(t \, c)",
                    r"r = \frac{\text{clock}}{\text{reference clock}} \cdot \text{work per clock}",
                ),
                "With one busy core the clock is at its turbo value, with all cores busy at its "
                "base value, in between on a straight line. The second thread of a core adds its "
                "yield. The capacity C, with every thread busy, is the 100 % of all percentages of "
                "CPU.",
                (
                    (r"\mu(j)", "work per second while j bursts are runnable"),
                    (r"c, t", "cores, and threads on each"),
                    (r"\rho", "share of the CPU kept for the hypervisor"),
                    (r"y", "yield of a second thread"),
                    (r"\tau", "clock with one core busy over clock with all busy"),
                ),
                "Our own composition of the two effects; no publication.",
                "model.cpu",
            ),
        ),
    ),
    Chapter(
        "contention", "The shared CPU, in milliseconds",
        "Every application and every encoder is a source: it asks for a burst of work, pauses, and "
        "asks again. All that are runnable share equally what the host delivers.",
        (
            Equation(
                "How many sources are runnable at once",
                (
                    r"P(n) = \frac{\PB(n) \, w(n)}{\sum_{m=0}^{N} \PB(m) \, w(m)},"
                    r" \; \; w(n) = \frac{n!}{\mu(1) \, \mu(2) \cdots \mu(n)}",
                    r"p_k = \frac{S_k}{S_k + Z_k}",
                ),
                "Count the sources as if each were runnable by itself with its own chance; then "
                "give every count the weight of the crowding it causes. For sources that share "
                "equally this is exact, whatever the spread of bursts and pauses: only their means "
                "matter.",
                (
                    (r"P(n)", "share of time with exactly n sources runnable, of N in all"),
                    (r"\PB(n)", "law of the number of successes, source k having the chance of p"),
                    (r"S_k, Z_k", "mean work of a burst, and mean pause, of a source of class k"),
                    (r"w(n)", "weight of crowding, from the capacity curve"),
                ),
                f"{_BCMP}: one processor-sharing station and pauses.",
                "model.contention",
            ),
            Equation(
                "How long a burst takes",
                (
                    r"R_k = S_k \, \sum_{n=0}^{N-1} \frac{n + 1}{\mu(n + 1)} \, P_{-k}(n),"
                    r" \; \; X_k = \frac{1}{Z_k + R_k}",
                ),
                "A burst meets the others as they are without its own source, and from then on "
                "shares with them. The formula adds positive numbers only, so it loses no digits "
                "on a full host.",
                (
                    (r"R_k", "mean time from the start of a burst to its end"),
                    (r"P_{-k}(n)", "the same law with one source of class k left out"),
                    (r"X_k", "bursts, or frames, completed per second"),
                ),
                f"{_BCMP}.",
                "model.contention",
            ),
            Equation(
                "Flows that must balance",
                (
                    r"\sum_{k} N_k \, X_k \, S_k = \E[\mu(J)], \; \;"
                    r" \sum_{k} N_k \, X_k \, R_k = \E[J]",
                ),
                "The work that is done equals the work that was asked for, and the number of "
                "runnable sources equals their arrivals times their response. Every result is held "
                "against both before it is shown; one that breaks them is told as a failure.",
                (
                    (r"N_k", "sources of class k"),
                    (r"J", "number of runnable sources"),
                ),
                "J. D. C. Little, A proof for the queuing formula L = lambda W, Operations "
                "Research 9(3), 1961, 383-387, doi:10.1287/opre.9.3.383.",
                "model.laws",
            ),
            Equation(
                "Frames and bursts that follow a clock",
                (
                    r"Z_k = \E[(T_k - R_k)^{+}], \; \;"
                    r" \text{delivered share} = \frac{T_k}{\E[\max(T_k, R_k)]}"
                    r" = \frac{T_k}{R_k + Z_k}",
                ),
                "A frame starts at its tick, or when the frame before is done, whichever is later. "
                "The pause is what is left of the period, and depends on the response, which "
                "depends on the pauses: both are solved together. Work varies from frame to frame "
                "by one third, so a source pauses now and then although its mean response is "
                "longer than its period.",
                (
                    (r"T_k", "period: one second over frames, or bursts, per second"),
                    (r"(T_k - R_k)^{+}", "what is left of the period; 0 where nothing is"),
                    (r"\E", "mean, the response having an Erlang law of nine phases"),
                ),
                "The closure is our own, checked against an event simulation; the station is that "
                "above.",
                "model.paced",
            ),
            Equation(
                "All sources in one law",
                (
                    r"R_k = s \, S_k, \; \; \text{runnable} = a + \text{binomial}(n, p)"
                    r" \; \text{with the same mean, variance and third moment}",
                ),
                "For the charts, which follow a slider, all classes are slowed by one common "
                "factor and their number is taken from one shifted binomial law. One equation "
                "remains for the factor. It stays within 1.5 % of the solution class by class on "
                "nearly all hosts.",
                (
                    (r"s", "common slow-down, in seconds per second of work"),
                    (r"a", "sources that never pause"),
                ),
                "Our own; the weights are those of the exact station.",
                "model.paced",
            ),
            Equation(
                "Scheduler wait and response slow-down",
                (
                    r"\text{wait} = \frac{\E[(J - t \, c)^{+}]}{\text{vCPUs of all sessions}},"
                    r" \; \; \text{slow-down} = \frac{R_k \, \mu(1)}{S_k}",
                ),
                "Runnable sources beyond the hardware threads wait for one. The slow-down compares "
                "the mean response with that on an empty host.",
                ((r"J", "number of runnable sources"),),
                OURS,
                "model.saturation",
            ),
        ),
    ),
    Chapter(
        "demand", "Who is doing what, in minutes",
        "Activities last seconds to minutes: with the same sessions a host is now calm, now busy.",
        (
            Equation(
                "Demand of a host, exactly",
                (
                    r"D_N = d_1 + d_2 + \cdots + d_N, \; \; \phi_{D_N}(x) = (\phi_d(x))^{N}",
                    r"d = \min(u_{\app}, \, r (1 - \rho)) + \min(u_{\enc}, \, r (1 - \rho))",
                ),
                "While the card has room for every display, sessions are independent of each "
                "other, and the demand of N of them is the sum of N draws. Its whole law comes "
                "from one Fourier transform, without chance. Demand is what is asked for; it may "
                "exceed what the host can do.",
                (
                    (r"d", "demand of one session, its activity drawn by role and habit"),
                    (r"D_N", "demand of N sessions"),
                    (r"\phi", "transform of a law"),
                ),
                "The transform of a sum of independent terms is the product of theirs: any "
                "textbook.",
                "model.demand",
            ),
            Equation(
                "Demand of sampled hosts, where the card is full",
                (
                    r"D_N^{\text{every display on the card}} \le D_N"
                    r" \le D_N^{\text{no display on the card}}",
                ),
                "Where display slots or pixel rate run out, sessions depend on each other. Then "
                "many hosts are drawn, sessions are added to each one by one, and the card is "
                "shared on every host. Both arms and every number of sessions see the same "
                "people, so curves do not jitter; a drawn value is held between the two exact "
                "ones.",
                (),
                "Our own composition; the draws are a Latin hypercube: M. D. McKay, R. J. Beckman "
                "and W. J. Conover, Technometrics 21(2), 1979, 239-245, "
                "doi:10.1080/00401706.1979.10489755.",
                "model.draws",
            ),
            Equation(
                "Who gets the card",
                (
                    r"x_i = \min( n_i, \; \text{slots left}, \;"
                    r" \lfloor \frac{\text{pixel rate left}}{q_i} \rfloor ),"
                    r" \; \; q_1 \ge q_2 \ge \cdots",
                ),
                "The displays that change most pixels per second come first, until display slots "
                "or pixel rate run out. A display that does not fit into what is left is passed "
                "over. The rest is encoded by the CPU.",
                (
                    (r"x_i, n_i", "displays of kind i with a slot, and displays in motion that "
                     "may use the card"),
                    (r"q_i", "changed pixels per second of one of them"),
                ),
                "Our own rule of use; drivers differ, and the vendor's documentation comes first.",
                "model.accelerator",
            ),
        ),
    ),
    Chapter(
        "rated", "Rated load, headroom, binding limit",
        "The curve over sessions is held against the targets.",
        (
            Equation(
                "Headroom and the chance of overload",
                (
                    r"\text{headroom} = 100 \, \% - \frac{\text{p95 of } D_N}{C},"
                    r" \; \; \text{overload} = \Pr(D_N > C)",
                ),
                "Nineteen moments of twenty ask for less than the p95. A busy moment is one about "
                "that p95: the wait and the frames called busy are those of the hosts from the "
                "93rd to the 97th per cent of demand.",
                (),
                OURS,
                "model.saturation",
            ),
            Equation(
                "Rated load",
                (
                    r"N^{*} = \text{the largest } N \text{ with every target and resource met}"
                    r" \text{ at } 1, 2, \cdots, N",
                ),
                "Targets: CPU demand, scheduler wait, delivered frames, network. Resources: "
                "memory, graphics memory. What fails first with one session more is the binding "
                "limit.",
                (),
                OURS,
                "model.targets",
            ),
        ),
    ),
    Chapter(
        "day", "The working day",
        "Both arms see the same people, second by second: who is there, what each does, who logs "
        "on.",
        (
            Equation(
                "People over the day",
                (
                    r"\text{present while } \text{presence}(t) > v, \; v \text{ between 0 and 1}",
                    r"\Pr(\text{next is } a) = \frac{\pi_a / \tau_a}{\sum_{b} \pi_b / \tau_b}",
                ),
                "Each session has a rank and is present while the presence curve lies above it. "
                "An activity lasts for an exponential time; the next is drawn so that the time "
                "spent follows the habit. Arriving costs a logon.",
                (
                    (r"v", "rank of the session, evenly spread over all"),
                    (r"\pi_a", "share of the role's time in activity a"),
                    (r"\tau_a", "how long people stay with it on average"),
                ),
                "Our own composition.",
                "model.day",
            ),
            Equation(
                "Work carried over, frames dropped",
                (
                    r"L_{s+1} = \max(L_s + A_s - C, \, 0), \; \; D_s = A_s + L_s + V_s",
                    r"\text{dropped}_s = \min(\max(D_s - C, 0), \, V_s)",
                ),
                "Application work that does not fit into a second is carried over to the next; "
                "frames get what applications leave, and the rest of them is dropped.",
                (
                    (r"A_s, V_s", "application and encoding work that arrives in second s"),
                    (r"L_s", "application work left over before it"),
                ),
                "D. V. Lindley, The theory of queues with a single server, Proc. Cambridge "
                "Philosophical Society 48, 1952, 277-289, doi:10.1017/S0305004100027638.",
                "model.day",
            ),
            Equation(
                "Crest, crest factor, crest reduction",
                (
                    r"\text{crest} = \text{p99 of } D_s \text{ over all seconds}, \; \;"
                    r" \text{crest factor} = \frac{\text{crest}}{\text{mean}}",
                    r"\text{crest reduction} = 1 - \frac{\text{crest with card}}"
                    r"{\text{crest without card}}",
                ),
                "The crest is exceeded in one second of a hundred.",
                (),
                OURS,
                "model.day",
            ),
        ),
    ),
    Chapter(
        "failures", "When something fails",
        "A lost card, host or socket, SMT off, everyone present or on a call: the same curves with "
        "other inputs. A logon rush is reckoned as a fluid.",
        (
            Equation(
                "Logon rush after a power cut",
                (
                    r"\frac{dy}{dt} = \text{inflow} \; \text{ while nothing waits}, \; \;"
                    r" \frac{dy}{dt} = C - U \, \frac{y}{W} \; \text{ while logons wait}",
                ),
                "Logons flow in evenly; those who are in work as usual and come first; the CPU "
                "does logons with what is left.",
                (
                    (r"y, W", "logon work done, and all of it"),
                    (r"U", "mean demand once everyone is in"),
                ),
                "Our own; a linear differential equation solved by hand. Fluids as approximations "
                "of queues: G. F. Newell, Applications of Queueing Theory, 1982, chapter 2.",
                "model.rush",
            ),
        ),
    ),
    Chapter(
        "fleet", "Hosts, power and money",
        "Plain arithmetic, exact to the cent. Prices are the ones you fill in.",
        (
            Equation(
                "Hosts and power",
                (
                    r"H = \lceil \frac{\text{sessions}}{N^{*}} \rceil + \text{spare}"
                    r" + \text{drained}, \; \; \text{watts} = w_0 + (w_1 - w_0) \, \text{CPU use}",
                    r"\text{energy} = [ \, \text{working hours} \cdot \text{watts at work}"
                    r" + \text{other hours} \cdot \text{idle watts} \, ] \cdot \text{overhead}",
                ),
                "Site by site: sessions over rated load, rounded up to whole hosts, and those that "
                "are spare or drained. Power rises evenly from idle to busy.",
                ((r"w_0, w_1", "power of a host without work, and with all cores busy"),),
                "Power that rises evenly from idle to busy is common practice, no source.",
                "model.fleet",
            ),
            Equation(
                "Present value",
                (
                    r"\PV = \sum_{k=0}^{n} \frac{A_k}{(1 + i)^{k}}, \; \;"
                    r" \text{cost per session and year} = \frac{\PV}"
                    r"{\sum_{k=1}^{n} \frac{\text{sessions}_k}{(1 + i)^{k}}}",
                ),
                "What is paid later is worth less today. Hosts are paid for at the start of the "
                "year that needs them, energy and upkeep at its end.",
                (
                    (r"A_k", "all that is paid at the end of year k; the first purchase at k = 0"),
                    (r"i", "discount rate"),
                ),
                "S. K. Fuller and S. R. Petersen, Life-Cycle Costing Manual for the Federal Energy "
                "Management Program, NIST Handbook 135, 1995 edition, 1996: formula D.2.1.1.",
                "model.money",
            ),
            Equation(
                "Break-even price of a card",
                (
                    r"\text{price}^{*} = \text{price} + \frac{\PV_{\text{without}}"
                    r" - \PV_{\text{with}}}{\sum_{k} \text{cards bought}_k / (1 + i)^{k}}",
                ),
                "The cost of a fleet is a straight line in the price of a card, so the price at "
                "which both arms cost the same is a division. Over the mix of roles the cost moves "
                "in steps of whole hosts: there a bracket is given, no single number.",
                (),
                OURS,
                "model.break_even",
            ),
        ),
    ),
    Chapter(
        "evidence", "Evidence from your own logs",
        "A trial switches offload on and off in blocks and compares their levels.",
        (
            Equation(
                "Effect of offload, with its interval",
                (
                    r"y_i = a + \delta \, x_i + \text{slow drift}(i) + e_i, \; \;"
                    r" \hat{\delta} \pm t_{0.975}(\nu) \cdot \se",
                ),
                "Every block gives one level, its first seconds left out. Offload and one smooth "
                "term for every four blocks explain the levels. The standard error allows for "
                "readings that resemble their neighbours and for unlike noise with and without "
                "offload. Four other roads to the same difference stand beside it.",
                (
                    (r"y_i, x_i", "level of block i, and whether offload was on (1) or off (0)"),
                    (r"\delta", "what offload changes"),
                    (r"t_{0.975}(\nu)", "Student's t with the degrees of freedom that are left"),
                ),
                "F. E. Satterthwaite, Biometrics Bulletin 2(6), 1946, 110-114, doi:10.2307/3002019 "
                "(degrees of freedom); L. N. Trefethen and J. A. C. Weideman, SIAM Review 56(3), "
                "2014, 385-458, doi:10.1137/130932132 (Student's t by the trapezoidal rule).",
                "model.evidence.on_off",
            ),
            Equation(
                "Ratio of with to without",
                (
                    r"\text{keep every } Q \text{ with } ( \hat{y}_{\text{with}} - Q \,"
                    r" \hat{y}_{\text{without}} )^{2} \le t_{0.975}^{2}(\nu) \; \Var(Q)",
                ),
                "All ratios are kept for which the levels with offload, and that ratio times those "
                "without, do not differ. Where the level without is hardly above 0 no finite "
                "interval is left, and that is told.",
                (),
                "E. C. Fieller, Some problems in interval estimation, J. Royal Statistical Society "
                "B 16(2), 1954, 175-185, doi:10.1111/j.2517-6161.1954.tb00159.x.",
                "model.evidence.on_off",
            ),
            Equation(
                "What a mean is worth when readings resemble each other",
                (
                    r"\Var(\text{mean}) = \frac{1}{n} \, [ \, \gamma_0 + 2 \, \sum_{\ell=1}^{L}"
                    r" ( 1 - \frac{\ell}{L + 1} ) \, \gamma_{\ell} \, ]",
                ),
                "A busy second follows a busy one, so a thousand readings are worth far fewer. The "
                "variance of the mean adds up the covariances at rising distance. A bootstrap "
                "that draws whole pieces of the log is the second road.",
                (
                    (r"\gamma_{\ell}", "covariance of readings that lie so many rows apart"),
                    (r"L", "the farthest distance that counts"),
                ),
                "W. K. Newey and K. D. West, Econometrica 55(3), 1987, 703-708, "
                "doi:10.2307/1913610; D. W. K. Andrews, Econometrica 59(3), 1991, 817-858, "
                "doi:10.2307/2938229 (distance); D. N. Politis and J. P. Romano, J. American "
                "Statistical Association 89(428), 1994, 1303-1313, "
                "doi:10.1080/01621459.1994.10476870 (bootstrap); D. N. Politis and H. White, "
                "Econometric Reviews 23(1), 2004, 53-70, doi:10.1081/ETC-120028836, corrected by "
                "A. Patton, D. N. Politis and H. White, 28(4), 2009, 372-375, "
                "doi:10.1080/07474930802459016 (length of the pieces).",
                "model.evidence.autocorrelation",
            ),
            Equation(
                "When offload was switched",
                (
                    r"\text{minimise } \sum_{\text{stretches}} \sum_{i} ( y_i - \text{mean of the"
                    r" stretch} )^{2} + \kappa \cdot \text{changes}",
                ),
                "The division of a series into levels that explains it best, each change paying a "
                "price. Where a log does not say when offload was on, switches are sought in the "
                "same exact manner between two levels only, no spell shorter than the least "
                "dwell. Levels too close together, or a slow drift, are refused with the reason.",
                ((r"\kappa", "price of one more change"),),
                "Y.-C. Yao, Estimating the number of change-points via Schwarz' criterion, "
                "Statistics and Probability Letters 6(3), 1988, 181-189, "
                "doi:10.1016/0167-7152(88)90118-6.",
                "model.evidence.changes",
            ),
            Equation(
                "Peaks of a log",
                (r"\Pr( y_{(l)} \le \text{true p95} \le y_{(h)} ) = 95 \, \%",),
                "The interval of a percentile stands between two readings in order of size, whose "
                "ranks come from the binomial law with as many readings as the log is worth "
                "independent ones.",
                ((r"y_{(l)}", "the reading in place l by size"),),
                "H. A. David and H. N. Nagaraja, Order Statistics, 3rd edition, Wiley, 2003, "
                "doi:10.1002/0471722162; E. B. Wilson, J. American Statistical Association "
                "22(158), 1927, 209-212, doi:10.1080/01621459.1927.10502953 (share of time).",
                "model.evidence.peaks",
            ),
            Equation(
                "Demand of each activity from a host's total",
                (r"U(s) = b + \sum_{a} n_a(s) \, d_a + e(s), \; \; b \ge 0, \; d_a \ge 0",),
                "A host's CPU is that of its base and of all sessions in each activity. Counts and "
                "totals over time give the demands by least squares, none below 0.",
                (
                    (r"U(s)", "CPU of the host in second s"),
                    (r"n_a(s), d_a", "sessions in activity a, and the demand of one of them"),
                ),
                "P. J. Denning and J. P. Buzen, ACM Computing Surveys 10(3), 1978, 225-261, "
                "doi:10.1145/356733.356735 (utilisation law); C. L. Lawson and R. J. Hanson, "
                "Solving Least Squares Problems, doi:10.1137/1.9781611971217; A. Bjoerck, "
                "Numerical Methods for Least Squares Problems, doi:10.1137/1.9781611971484, and "
                "T. J. Dekker, Numerische Mathematik 18(3), 1971, 224-242, "
                "doi:10.1007/BF01397083 (digits); "
                "D. W. K. Andrews and J. C. Monahan, Econometrica 60(4), 1992, 953-966, "
                "doi:10.2307/2951574, and N. M. Kiefer and T. J. Vogelsang, Econometric Theory "
                "21(6), 2005, 1130-1164, doi:10.1017/S0266466605050565 (intervals).",
                "model.evidence.demands",
            ),
            Equation(
                "Measured costs back into the scenario",
                (
                    r"e = \frac{\text{CPU of the encoder}}{\text{frames delivered}} \cdot"
                    r" \frac{1920 \times 1080}{\text{pixels}} \cdot r",
                ),
                "CPU over frames gives the cost of a frame, brought to one display of 1920x1080 "
                "and to the reference core. Every change is proposed for itself and is marked as "
                "measured.",
                ((r"r", "speed of a core of the trial's host over that of the reference core"),),
                OURS,
                "model.evidence.calibration_desktop",
            ),
            Equation(
                "Predicted against measured",
                (
                    r"\text{distance} = \int | F_{\text{measured}}(x) - F_{\text{predicted}}(x) |"
                    r" \, dx",
                ),
                "The area between both curves says how far they lie apart on average. Whether "
                "chance alone may do that is told by putting the measured log among simulated logs "
                "of the same people.",
                ((r"F(x)", "share of time with at most x cores in use"),),
                "S. S. Vallender, Theory of Probability and Its Applications 18(4), 1974, 784-786, "
                "doi:10.1137/1118101; G. A. Barnard, J. Royal Statistical Society B 25(2), 1963, "
                "294 (simulated logs); H. R. Kuensch, Annals of Statistics 17(3), 1989, 1217-1241, "
                "doi:10.1214/aos/1176347265 (stretches of a log).",
                "model.evidence.comparison",
            ),
            Equation(
                "How exact a trial will be",
                (
                    r"\se^{2} = w^{T} \, \Sigma \, w, \; \; \text{half width}"
                    r" = t_{0.975}(\nu) \cdot \se",
                ),
                "Before the trial: the weight of every block in the comparison, with the "
                "covariance of every two of them, gives the standard error of any order and length "
                "of blocks. The degrees of freedom are those that the method will find on average.",
                (
                    (r"w", "weight of each block in the difference"),
                    (r"\Sigma", "covariances of the blocks' levels"),
                    (r"\nu", "degrees of freedom"),
                ),
                OURS,
                "model.evidence.trial_exactness",
            ),
        ),
    ),
    Chapter(
        "uncertainty", "How sure the answer is",
        "Costs, mix, clock and SMT yield are not known exactly. Many scenarios that could as well "
        "be true are worked out whole.",
        (
            Equation(
                "Draws",
                (
                    r"x = x_0 \, e^{\sigma z}, \; \;"
                    r" \sigma = \frac{\ln(1 + \text{spread})}{z_{0.9}}",
                ),
                "The P90 of an input lies its spread above its value, the P10 as far below. Half "
                "of the variance of costs of one kind is common to all activities. What a log "
                "measured is drawn from its own interval instead. Draws fill their range evenly.",
                (
                    (r"x_0", "the input's value in the scenario"),
                    (r"z", "a standard normal number"),
                ),
                "M. D. McKay, R. J. Beckman and W. J. Conover, A comparison of three methods for "
                "selecting values of input variables in the analysis of output from a computer "
                "code, Technometrics 21(2), 1979, 239-245, doi:10.1080/00401706.1979.10489755.",
                "model.draws",
            ),
            Equation(
                "Shares of variance",
                (
                    r"\text{share}_g = \frac{\Var(f_g)}{\sum_{h} \Var(f_h) + \Var(e)}, \; \;"
                    r" \text{answer} = \text{mean} + \sum_{g} f_g + e",
                ),
                "The answer of all draws is fitted by a sum of curves, one for each input. What a "
                "group of inputs explains on its own says what to measure next.",
                (
                    (r"f_g", "what the inputs of group g contribute"),
                    (r"e", "what no sum of single effects explains"),
                ),
                "B. Sudret, Global sensitivity analysis using polynomial chaos expansions, "
                "Reliability Engineering and System Safety 93(7), 2008, 964-979, "
                "doi:10.1016/j.ress.2007.04.002, main effects only.",
                "model.sensitivity",
            ),
        ),
    ),
)  # fmt: skip
