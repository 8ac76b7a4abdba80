"""Measured against expected: suspects, groups, estimates, verdict, and the reasons for it.

A sheet goes through these modules, top down; :mod:`.locate` calls them:

1. :mod:`.evidence` lays the readings out, test by test; what nothing can give is left out first
   (:mod:`.absurd`).
2. :mod:`.suspects` are sound wiring and every fault, each with its chance beforehand, which is less once
   its unit was put right (:mod:`.renewed`).
3. :mod:`.weighing` looks at all of them roughly, at the values that :mod:`.coarse` has solved, and drops
   the hopeless; suspects that read alike are weighed as one (:mod:`.alike`). It then looks closely at
   the others: :mod:`.values` says where the unknown value of a fault may lie, :mod:`.lines` what is
   predicted there, solved or told from values around it (:mod:`.between`), and :mod:`.likelihood` how
   likely the readings are then. Each comes out as a :mod:`.standing`.
4. If none explains every reading: faults that come and go (:mod:`.passing`), in each test gone, open or
   with ohms of its own (:mod:`.loose_contact`).
5. If none of these does: several faults at once (:mod:`.several`). :mod:`.pairing`, :mod:`.leading` and
   :mod:`.beside` choose the pairs, :mod:`.joined` makes suspects of them, :mod:`.pairsolver` weighs them
   with :mod:`.sets` and, of two unknown values, :mod:`.twovalues`; :mod:`.standins` puts in faults that
   read alike.
6. :mod:`.conclude` makes a :mod:`.verdict` of how all of them stand: groups that these readings cannot
   part (:mod:`.ledger`), units to put right (:mod:`.repair`), readings that alone decide it
   (:mod:`.hinges`), the reasons (:mod:`.reasons`) and the words (:mod:`.summary`). :mod:`.why` shows all
   that it rests on.
"""
