#ifndef SEAMHOLD_MAP_MARGIN_QUESTION_HPP
#define SEAMHOLD_MAP_MARGIN_QUESTION_HPP

#include "seamhold/limit/check.hpp"
#include "seamhold/limit/report.hpp"
#include "seamhold/map/set_up.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// The columns that questions over set-ups share, before figures of the user's own.
inline std::vector<Column> set_up_columns() {
    std::vector<std::string> limits;
    limits.reserve(limit_count);
    for (std::size_t i = 0; i < limit_count; ++i)
        limits.emplace_back(to_string(static_cast<Limit>(i)));
    return {{"margin", "", {}},
            {"limit", "", std::move(limits)},
            {"seam", "", {}},
            {"takt", "s", {}},
            {"beam on", "", {}}};
}

namespace detail {

/// The worst use of all limits so far, lane by lane, and where.
template <class S> struct WorstUse {
    S use = number_cast<S>(0);
    S limit = number_cast<S>(0); ///< its number
    S seam = number_cast<S>(0);  ///< its number, from 1

    /// Takes in what one limit uses.
    void take(S const& used, Limit of, double in_seam) {
        auto const more = used > use;
        use = select(more, used, use);
        limit = select(more, number_cast<S>(static_cast<double>(of)), limit);
        seam = select(more, number_cast<S>(in_seam), seam);
    }
};

/// A use that stands for "not at all": of what is out of reach, or has no time.
inline constexpr double hopeless = 1e6;

/// The least time in which an axis turns through a way to rest and from rest; see `least_turn_time`.
template <class S> S least_turn_time_of(S const& way, double velocity, double acceleration) {
    using std::sqrt;
    S const length = select(way < number_cast<S>(0), S(-way), way);
    S const short_way = sqrt(S(length * (1 / acceleration))) * 2.0;
    S const long_way = length * (1 / velocity) + velocity / acceleration;
    return select(length < S(velocity * velocity / acceleration), short_way, long_way);
}

/// Samples the seams of a set-up over numbers of type S, with rates up to the N-th, 2 or more.
template <int N, class S, class SetUpType> class SetUpSampler {
public:
    SetUpSampler(SetUpType const& set_up, std::vector<std::vector<Check>> const& checks, std::size_t samples)
        : set_up_(set_up), checks_(checks), samples_(samples) {}

    WorstUse<S> worst() {
        for (std::size_t i = 0; i < set_up_.seams.size(); ++i)
            look_at(i);
        return worst_;
    }

private:
    using T = Taylor<S, N>;

    void look_at(std::size_t number) {
        auto const& scheduled = set_up_.seams[number];
        auto const& seam = scheduled.seam;
        auto const& checks = checks_[number];
        auto const wanted = wanted_by(checks);
        double const in_seam = static_cast<double>(number + 1);
        double const duration = seam.duration();
        S x_squares = number_cast<S>(0), y_squares = number_cast<S>(0);
        for (std::size_t k = 0; k < samples_; ++k) {
            double const time = duration * static_cast<double>(k) / static_cast<double>(samples_ - 1);
            auto const demand = demand_of(set_up_, scheduled, T::variable(number_cast<S>(time)), wanted);
            take_status(demand.status, in_seam);
            bool const full = !seam.power || seam.power->full(time, duration);
            for (auto const& check : checks) {
                if ((check.welds && !full) || (check.measure == Measure::energy && !(seam.feed(time) > 0)))
                    continue;
                take(check.utilisation(check.read(demand[check.measure].derivative(check.derivative))),
                     check.limit, in_seam);
            }
            x_squares = x_squares + sqr(demand[Measure::x].derivative(2));
            y_squares = y_squares + sqr(demand[Measure::y].derivative(2));
            if (k == 0)
                take_air_move(number, demand);
        }
        if (double const allowed = set_up_.dynamics.mirror_rms_acceleration; is_finite(allowed)) {
            using std::sqrt;
            double const share = 1 / static_cast<double>(samples_);
            take(sqrt(S(x_squares * share)) * (1 / allowed), Limit::x_rms_acceleration, in_seam);
            take(sqrt(S(y_squares * share)) * (1 / allowed), Limit::y_rms_acceleration, in_seam);
        }
    }

    /// A candidate that has no answer here is not feasible, by its reach, whatever else is asked of it.
    template <class AnyStatus> void take_status(AnyStatus const& status, double in_seam) {
        auto const lose = [&](auto const& mask) {
            worst_.use = select(mask, number_cast<S>(hopeless), worst_.use);
            worst_.limit = select(mask, number_cast<S>(static_cast<double>(Limit::reach)), worst_.limit);
            worst_.seam = select(mask, number_cast<S>(in_seam), worst_.seam);
            lost_ = select(mask, number_cast<S>(1), lost_);
        };
        if constexpr (is_packed<S>) {
            S lost = number_cast<S>(0);
            for (int i = 0; i < lanes_of<S>; ++i)
                if (status.lane[i] > Status::out_of_reach)
                    lost.set_lane(i, 1);
            lose(lost > lost_);
        } else {
            lose(status > Status::out_of_reach && !(lost_ > 0));
        }
    }

    /// Takes in what one limit uses, of candidates that have an answer.
    void take(S const& used, Limit limit, double in_seam) {
        worst_.take(select(lost_ > number_cast<S>(0), number_cast<S>(0), used), limit, in_seam);
    }

    /// The time since the seam before against the least in which the mirrors turn between the two.
    void take_air_move(std::size_t number, Demand<T> const& begin) {
        if (number == 0)
            return;
        auto const& before = set_up_.seams[number - 1];
        auto const& d = set_up_.dynamics;
        auto const end =
            set_up_.chain.follow(before.seam, number_cast<S>(before.seam.duration()), S(before.end()));
        S const gap = set_up_.seams[number].start - before.end();
        auto const turn = [&](T const& to, S const& from) {
            return least_turn_time_of(S(to.value() - from), d.mirror_velocity, d.mirror_acceleration);
        };
        S const x = turn(begin[Measure::x], end.aim.command.x_mirror);
        S const y = turn(begin[Measure::y], end.aim.command.y_mirror);
        S const needed = select(x > y, x, y) + d.settling;
        S const never = number_cast<S>(hopeless);
        S const least = number_cast<S>(1e-9);
        take(select(gap > least, S(needed / select(gap > least, gap, least)), never), Limit::air_move,
             static_cast<double>(number + 1));
    }

    SetUpType const& set_up_;
    std::vector<std::vector<Check>> const& checks_;
    std::size_t samples_;
    WorstUse<S> worst_;
    S lost_ = number_cast<S>(0); ///< 1 where a candidate has no answer
};

} // namespace detail

/// How much room a set-up leaves: the least margin (1 − |value| / limit) over all limits that a report of a
/// job looks at, at `samples` points of each seam, ends included; which limit binds, at which seam; takt and
/// beam-on share; and figures of the maker's own. It goes through the same formulas as a report, with packs
/// of eight candidates, and like a report proves nothing between its points. RMS accelerations are over each
/// whole seam, air moves a lower bound as in a report. A candidate that is out of the head's reach (behind
/// it, no solution, no data, not finite) has margin 1 − 1e6 and the limit `reach`.
template <SetUpMaker Maker> class MarginQuestion {
public:
    /// `about` says in words and numbers what the maker holds constant: a results file tells questions apart
    /// by it. Throws BadInput for fewer than two samples and where figures have no name.
    MarginQuestion(std::string about, Maker maker, std::size_t samples, std::vector<Column> figures = {})
        : maker_(std::move(maker)), samples_(samples), columns_(set_up_columns()), figures_(figures.size()) {
        if (samples < 2)
            throw BadInput("a margin needs two samples a seam or more; given were " +
                           std::to_string(samples));
        about_ = "margin at " + std::to_string(samples) + " points a seam; " + std::move(about);
        for (auto& f : figures) {
            if (f.name.empty())
                throw BadInput("a figure of a margin question has no name");
            columns_.push_back(std::move(f));
        }
    }

    /// See `MapQuestion`.
    std::string const& about() const { return about_; }
    /// Of its answers.
    std::vector<Column> const& columns() const { return columns_; }
    /// The answers for candidates.
    void answer(CandidatePack const& candidates, std::span<MapPack> answers) const {
        auto const found = of(SetUpValues<MapPack>{candidates.values, candidates.choices});
        if (found.size() != columns_.size())
            throw BadInput("a set-up tells " + std::to_string(found.size() - (columns_.size() - figures_)) +
                           " figures, and " + std::to_string(figures_) + " are named");
        std::copy(found.begin(), found.end(), answers.begin());
    }

    /// The answers for values over any number, doubles or packs, the maker's figures last.
    template <class S> std::vector<S> of(SetUpValues<S> const& values) const {
        auto const set_up = maker_(values);
        std::vector<std::vector<Check>> checks;
        checks.reserve(set_up.seams.size());
        bool jerk = false;
        for (auto const& seam : set_up.seams) {
            checks.push_back(checks_of(set_up, seam));
            for (auto const& check : checks.back())
                jerk = jerk || check.derivative > 2;
        }
        auto const worst = jerk ? sampled<3>(set_up, checks) : sampled<2>(set_up, checks);
        double on = 0;
        for (auto const& seam : set_up.seams)
            on += seam.seam.duration();
        std::vector<S> answers{S(1.0 - worst.use), worst.limit, worst.seam, set_up.takt, S(on / set_up.takt)};
        answers.insert(answers.end(), set_up.figures.begin(), set_up.figures.end());
        return answers;
    }

private:
    template <int N, class SetUpType>
    auto sampled(SetUpType const& set_up, std::vector<std::vector<Check>> const& checks) const {
        using S = std::decay_t<decltype(set_up.takt)>;
        return detail::SetUpSampler<N, S, SetUpType>(set_up, checks, samples_).worst();
    }

    Maker maker_;
    std::size_t samples_;
    std::string about_;
    std::vector<Column> columns_;
    std::size_t figures_;
};

} // namespace seamhold

#endif
