#ifndef SEAMHOLD_RECORD_ODD_PARTS_HPP
#define SEAMHOLD_RECORD_ODD_PARTS_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/record/scatter.hpp"
#include "seamhold/record/unlike_part.hpp"
#include "seamhold/statistics/quantiles.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numeric>
#include <span>
#include <utility>
#include <vector>

// Which parts of a batch are unlike the others; see `learn_band`.

namespace seamhold::detail {

/// The readings of some parts: of each part, channel by channel, those of the cells and their mean over the
/// seam.
class PartRows {
public:
    PartRows(std::size_t channels, std::size_t cells) : channels_(channels), places_(cells + 1) {}

    /// Takes a part, one row of readings a channel.
    void add(std::vector<std::span<double const>> const& readings) {
        auto& row = rows_.emplace_back();
        for (auto const& channel : readings) {
            row.insert(row.end(), channel.begin(), channel.end());
            row.push_back(mean_over_seam(channel));
        }
    }

    std::size_t parts() const { return rows_.size(); }
    std::size_t channels() const { return channels_; }
    /// Of one channel: its cells and one more.
    std::size_t places() const { return places_; }
    std::size_t all_places() const { return channels_ * places_; }

    std::vector<double> const& operator[](std::size_t part) const { return rows_[part]; }

    /// The middle ones of all parts' readings, taken off from all of them.
    void centre() {
        std::vector<double> at(parts());
        for (std::size_t i = 0; i < all_places(); ++i) {
            for (std::size_t p = 0; p < parts(); ++p)
                at[p] = rows_[p][i];
            double const middle = median(at);
            for (auto& row : rows_)
                row[i] -= middle;
        }
    }

    /// Of each place, from centred rows, the variance of a normal quantity with the same median deviation.
    std::vector<double> median_variances() const {
        std::vector<double> at(parts()), variances(all_places());
        for (std::size_t i = 0; i < all_places(); ++i) {
            for (std::size_t p = 0; p < parts(); ++p)
                at[p] = std::abs(rows_[p][i]);
            variances[i] = sqr(median(at) / normal_quantile(0.75));
        }
        return variances;
    }

private:
    /// The middle one, or the mean of the two in the middle; changes the order.
    static double median(std::vector<double>& values) {
        auto const middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
        std::nth_element(values.begin(), middle, values.end());
        if (values.size() % 2 == 1)
            return *middle;
        double const below = *std::max_element(values.begin(), middle);
        return below + (*middle - below) / 2;
    }

    std::size_t channels_, places_;
    std::vector<std::vector<double>> rows_;
};

/// A part that is unlike the others.
struct OddPart {
    std::size_t part; ///< its number among the rows
    Farthest farthest;
    std::vector<double> departures; ///< of that channel
};

/// Looks for them.
class OddParts {
public:
    /// `least`: of each channel, the least deviation.
    OddParts(PartRows rows, std::size_t reach, std::vector<double> least, double false_refusal)
        : rows_(std::move(rows)), reach_(reach), least_(std::move(least)), false_refusal_(false_refusal) {
        if (rows_.parts() < 4)
            return;
        rows_.centre();
        std::vector<std::size_t> const order = outside_first();
        std::size_t set_aside = (rows_.parts() - 1) / 3;
        for (; set_aside > 0; --set_aside) {
            Group const rest(*this,
                             {order.begin() + static_cast<std::ptrdiff_t>(set_aside) - 1, order.end()});
            if (rest.unlike(order[set_aside - 1], level(set_aside)))
                break;
        }
        // Each that was set aside against those that were not.
        auto const kept = order.begin() + static_cast<std::ptrdiff_t>(set_aside);
        for (auto part = order.begin(); part != kept; ++part) {
            std::vector<std::size_t> members(kept, order.end());
            members.push_back(*part);
            Group const group(*this, members);
            if (group.unlike(*part, level(set_aside)))
                found_.push_back(group.told(*part));
        }
    }

    std::vector<OddPart> const& found() const { return found_; }

    /// So many deviations off are unlike for certain.
    double bound() const {
        if (rows_.parts() < 4)
            return std::numeric_limits<double>::infinity();
        return unlike_bound(level(std::max<std::size_t>(found_.size(), 1)), rows_.all_places(),
                            static_cast<double>(rows_.parts() - found_.size() - 1));
    }

private:
    /// At which level one part is tested with those farther out set aside, so many with it: by chance a test
    /// at k would take k good parts. Σ k · level, over those that matter, stays about the whole rate.
    double level(std::size_t set_aside) const { return false_refusal_ / sqr(static_cast<double>(set_aside)); }

    /// More turns than this take too long; then only what is unlike for certain is.
    static constexpr double most_turns = 50000;

    /// Some of the parts, one of which is held against the others.
    class Group {
    public:
        Group(OddParts const& of, std::vector<std::size_t> const& members) : of_(of), members_(members) {
            std::vector<RunningScatter> scatter(of.rows_.all_places());
            double count = 0;
            for (std::size_t const part : members_) {
                ++count;
                for (std::size_t i = 0; i < scatter.size(); ++i)
                    scatter[i] = with_reading(scatter[i], of.rows_[part][i], count);
            }
            for (auto const& at : scatter)
                squares_.push_back(at.squares);
        }

        /// Whether chance puts a member so far from the others at a rate below `level`.
        /// Among turned readings, all that matters is the direction of one part among the parts: an even one.
        bool unlike(std::size_t part, double level) const {
            Work work;
            double const square = farthest(direction_of(part), work).square;
            if (square > sqr(unlike_bound(level, of_.rows_.all_places(), degrees())))
                return true;
            // Two in so many, the part itself counted: the test is exact whatever their number.
            double const turns = std::ceil(2 / level) - 1;
            if (turns > most_turns)
                return false;
            // Numbers of their own for each test, or the luck of one seed would stand for all; in float, so
            // that the last bits of a sum do not matter.
            RandomNumbers random(std::bit_cast<std::uint32_t>(static_cast<float>(square)));
            std::size_t farther = 0;
            for (std::size_t turn = 0; turn < static_cast<std::size_t>(turns) && farther < 2; ++turn)
                farther += farthest(even_direction(random), work).square >= square ? 1 : 0;
            return farther < 2;
        }

        /// What there is to tell of a member.
        OddPart told(std::size_t part) const {
            Work work;
            Farthest const found = farthest(direction_of(part), work);
            fill(found.channel, direction_of(part), work);
            return {part, found, work.departures};
        }

    private:
        struct Work {
            std::vector<double> departures, variances, more, smoothed;
        };

        /// Of the others' deviations.
        double degrees() const { return static_cast<double>(members_.size()) - 2; }

        /// One number a member: of length 1, with the sum 0. By it readings give how far one is from the mean
        /// of the others, in the scatter of one.
        std::vector<double> direction_of(std::size_t part) const {
            double const count = static_cast<double>(members_.size());
            double const own = std::sqrt((count - 1) / count);
            std::vector<double> direction;
            for (std::size_t const member : members_)
                direction.push_back(member == part ? own : -own / (count - 1));
            return direction;
        }
        std::vector<double> even_direction(RandomNumbers& random) const {
            std::vector<double> direction(members_.size());
            for (double& x : direction)
                x = random.normal();
            double const mean = mean_over_seam(direction);
            double square = 0;
            for (double& x : direction) {
                x -= mean;
                square += sqr(x);
            }
            for (double& x : direction)
                x /= std::sqrt(square);
            return direction;
        }

        void fill(std::size_t channel, std::vector<double> const& direction, Work& work) const {
            std::size_t const places = of_.rows_.places(), from = channel * places;
            work.departures.assign(places, 0.0);
            for (std::size_t m = 0; m < members_.size(); ++m) {
                double const* const row = of_.rows_[members_[m]].data() + from;
                for (std::size_t i = 0; i < places; ++i)
                    work.departures[i] += direction[m] * row[i];
            }
            work.variances.resize(places);
            for (std::size_t i = 0; i < places; ++i)
                work.variances[i] = std::max(0.0, squares_[from + i] - sqr(work.departures[i])) / degrees();
            widen_variances(work.variances, of_.reach_, of_.least_[channel], work.more, work.smoothed);
        }

        Farthest farthest(std::vector<double> const& direction, Work& work) const {
            Farthest found;
            for (std::size_t c = 0; c < of_.rows_.channels(); ++c) {
                fill(c, direction, work);
                look_farther(found, c, work.departures, work.variances);
            }
            return found;
        }

        OddParts const& of_;
        std::vector<std::size_t> members_;
        std::vector<double> squares_;
    };

    /// The parts' numbers, those farthest from the middle of all first.
    std::vector<std::size_t> outside_first() const {
        std::size_t const places = rows_.places();
        std::vector<double> variances = rows_.median_variances(), work, smoothed;
        for (std::size_t c = 0; c < rows_.channels(); ++c)
            widen_variances(std::span(variances).subspan(c * places, places), reach_, least_[c], work,
                            smoothed);
        std::vector<double> square(rows_.parts());
        for (std::size_t p = 0; p < rows_.parts(); ++p) {
            Farthest found;
            look_farther(found, 0, rows_[p], variances);
            square[p] = found.square;
        }
        std::vector<std::size_t> order(rows_.parts());
        std::iota(order.begin(), order.end(), std::size_t{0});
        std::stable_sort(order.begin(), order.end(),
                         [&](std::size_t a, std::size_t b) { return square[a] > square[b]; });
        return order;
    }

    PartRows rows_;
    std::size_t reach_;
    std::vector<double> least_;
    double false_refusal_;
    std::vector<OddPart> found_;
};

} // namespace seamhold::detail

#endif
